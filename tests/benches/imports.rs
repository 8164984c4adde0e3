//! How fast a table of readings is applied, and in how much memory.
//!
//! `cargo bench -p rimeyard-tests --bench imports`, with a word of their names for some of them. A real server with a worker beside it and a Postgres of its own, two
//! depots of 125 machines each, which are imported themselves. Then tables of 50,000 rows, each
//! timed from the answer to the last byte until all of it is applied:
//!
//! - `inspections of 8`: 6,250 inspections of 8 readings each.
//! - `inspections of 1`: 50,000 inspections of one reading: all that an inspection costs, in every row.
//! - `meter readings`.
//!
//! The aim: 5,000 rows a second on 2 cores, in memory that does not grow with the table. The worker recomputes the depots
//! meanwhile. Memory is that of this process, in which client, server and worker run; the client holds the table once.

use std::fmt::Write;
use std::time::{Duration, Instant};

use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};

const ROWS: usize = 50_000;
const MACHINES: usize = 250;

/// Something of this process's memory, MiB.
fn memory_mib(what: &str) -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with(what));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.unwrap_or(f64::NAN) / 1024.0
}

/// An instant of a table, one an hour.
fn hour(number: usize) -> String {
    let start = jiff::Timestamp::constant(1_672_531_200, 0);
    (start + jiff::SignedDuration::from_hours(number as i64)).to_string()
}

fn inspections(checks: &[Value], of: usize, rows: usize, minute: &str) -> String {
    let mut table = String::from("tag,performed at,kind,run hours,check,value,unit\n");
    let inspections = rows / of;
    for number in 0..inspections {
        let (machine, round) = (number % MACHINES, number / MACHINES);
        for (place, check) in checks.iter().take(of).enumerate() {
            let hours = if place == 0 {
                format!("{:.1}", 10.0 + round as f64)
            } else {
                String::new()
            };
            writeln!(
                table,
                "B-{machine},{},in season,{hours},{},{},{}",
                hour(round * 48 + of).replace(":00:00Z", minute),
                check["check"].as_str().unwrap_or_default(),
                check["value"].as_str().unwrap_or_default(),
                check["unit"].as_str().unwrap_or_default(),
            )
            .expect("written");
        }
    }
    table
}

fn meter_readings(rows: usize, minute: &str) -> String {
    let mut table = String::from("tag,read at,hours,started\n");
    for number in 0..rows {
        let (machine, round) = (number % MACHINES, number / MACHINES);
        writeln!(
            table,
            "B-{machine},{},{},yes",
            hour(round * 48 + 3).replace(":00:00Z", minute),
            10 + round
        )
        .expect("written");
    }
    table
}

async fn seen(actor: &Actor, id: &str) -> Value {
    actor
        .get(&format!("/v1/imports/{id}"))
        .await
        .expect(200)
        .json()
}

/// Waits until it is past `states`; how long that took.
async fn past(actor: &Actor, id: &str, states: &[&str]) -> (Value, Duration) {
    let started = Instant::now();
    loop {
        let import = seen(actor, id).await;
        if !states.iter().any(|state| import["state"] == *state) {
            return (import, started.elapsed());
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
}

/// Brings a table and has it applied at once.
async fn run(actor: &Actor, name: &str, what: &str, table: String) {
    let bytes = table.len();
    // Forget the peak so far.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    let before = memory_mib("VmRSS");
    let sent = Instant::now();
    let id = actor
        .post_table(&format!("/v1/imports?what={what}&dry_run=false"), table)
        .await
        .expect(202)
        .id();
    let arrived = sent.elapsed();
    let (_, checked) = past(actor, &id, &["checking"]).await;
    let (import, applied) = past(actor, &id, &["applying"]).await;
    assert_eq!(import["state"], "applied", "{import}");
    let peak = memory_mib("VmHWM");
    let rows = import["rows_applied"].as_f64().unwrap_or(0.0);
    println!(
        "{name:>19}: {rows} rows, {:.1} MB arrived in {:.2} s; checked in {:.2} s, applied in {:.2} s: {:.0} rows/s from the \
         last byte (aim: 5000); memory {before:.0} MiB before, {peak:.0} MiB at its peak",
        bytes as f64 / 1e6,
        arrived.as_secs_f64(),
        checked.as_secs_f64(),
        applied.as_secs_f64(),
        rows / (checked + applied).as_secs_f64(),
    );
}

/// Two depots with half of the machines each; the checks that are read of them.
async fn fill(server: &TestServer, actor: &Actor) -> Vec<Value> {
    let new = json!({"name": "bench", "kind": "two-stage thrower"});
    let checklist = actor.post("/v1/checklists", &new).await.expect(201).id();
    let new = json!({"name": "bench", "kind": "two-stage thrower", "checklist_id": checklist});
    actor.post("/v1/models", &new).await.expect(201);
    let mut table = String::from("tag,depot,model,acquired on,came new\n");
    for machine in 0..MACHINES {
        let depot = if machine % 2 == 0 {
            server.world.ours.home.id
        } else {
            server.world.ours.far.id
        };
        writeln!(table, "B-{machine},{depot},bench,2022-10-01,yes").expect("written");
    }
    run(actor, "machines", "units", table).await;
    let unit = actor.get("/v1/units?tag=B-0").await.expect(200).json();
    let path = format!(
        "/v1/units/{}/checklist",
        unit["items"][0]["id"].as_str().unwrap_or_default()
    );
    let steps = actor.get(&path).await.expect(200).json()["steps"].clone();
    let steps = steps.as_array().cloned().unwrap_or_default();
    // Measures first, as new, then what is looked at.
    let value = |step: &Value| match step["kind"].as_str() {
        Some("measure") => step["limits"]["as_new"]["value"].to_string(),
        Some("function") => "yes".to_owned(),
        _ => {
            let best = &step["grades"][0];
            best["grade"]
                .as_str()
                .or(best.as_str())
                .unwrap_or_default()
                .to_owned()
        }
    };
    let mut checks: Vec<Value> = steps
        .iter()
        .map(|step| json!({"check": step["check"], "unit": step["unit"], "value": value(step), "kind": step["kind"]}))
        .filter(|check| check["check"] != "tyre_pressure")
        .collect();
    checks.sort_by_key(|check| check["kind"] != "measure");
    checks.truncate(8);
    checks
}

#[actix_web::main]
async fn main() {
    // As of every bench: the names of those to be run, all if none is given.
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    let server = TestServer::start_with_worker().await;
    let actor = server.administrator().await;
    let checks = fill(&server, &actor).await;
    // A tenth before, and then what autovacuum does by itself within a minute: until then Postgres plans for empty tables.
    let few = ROWS / 10;
    let (read, met) = (
        inspections(&checks, 8, few, ":10:00Z"),
        meter_readings(few, ":10:00Z"),
    );
    run(&actor, "before: inspections", "inspections", read).await;
    run(&actor, "before: readings", "meter-readings", met).await;
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, tokio_postgres::NoTls)
        .await
        .expect("the owner connects");
    tokio::spawn(connection);
    owner.batch_execute("analyze").await.expect("analyzed");
    for (name, what, table) in [
        (
            "inspections of 8",
            "inspections",
            inspections(&checks, 8, ROWS, ":20:00Z"),
        ),
        (
            "meter readings",
            "meter-readings",
            meter_readings(ROWS, ":30:00Z"),
        ),
        (
            "inspections of 1",
            "inspections",
            inspections(&checks, 1, ROWS, ":40:00Z"),
        ),
    ] {
        if asked.is_empty() || asked.iter().any(|word| name.contains(word)) {
            run(&actor, name, what, table).await;
        }
    }
}
