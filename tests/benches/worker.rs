//! What the worker costs end to end, against a floor: whatever computes the same must read its input and write its result.
//!
//! `cargo bench -p rimeyard-tests --bench worker`, with the number of depots for others than 1,000. A Postgres of its own,
//! depots of 100 machines each as in the bench `chain`: 15 measures on 13 parts read in 6 inspections, the last of which
//! answers every check. One depot is made over HTTP; the others are copies of it, other ids and names, interleaved on disk
//! as facts arrive. Then, in the same run:
//!
//! - `floor`: as the owner, COPY of all rows that the computation needs out, and COPY of the rows that it made in, into
//!   tables with the same indexes.
//! - `worker`: every depot is due; drained by one worker as it comes.
//! - `again`: every depot is due once more and nothing has changed: nothing is published.
//!
//! The aim: `worker` at most 4 times `floor` on 2 cores, and memory that does not grow with the number of depots.

use std::fmt::Write;
use std::time::{Duration, Instant};

use actix_web::web::Bytes;
use futures::{SinkExt, StreamExt};
use rimeyard_harness::machines::{Machines, days_ago, sound_readings};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_rules::sheet::{CheckSpec, Reads, Sheet, two_stage_thrower};
use rimeyard_store::{Database, Sizes};
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};
use tokio_postgres::{Client, NoTls};
use uuid::Uuid;

const MACHINES: usize = 100;
const READINGS: i64 = 6;
/// What of each table is another in each copy: ids, and names that stand once only.
const COPIED: [(&str, &[&str], &[&str]); 8] = [
    ("depot", &["id"], &["name"]),
    ("feed_scope", &["scope_id"], &[]),
    ("mark", &["depot_id"], &[]),
    ("unit", &["id", "depot_id"], &["tag"]),
    ("inspection", &["id", "unit_id", "depot_id"], &[]),
    ("fitted_part", &["id", "unit_id", "inspection_id"], &[]),
    (
        "reading",
        &["inspection_id", "unit_id", "fitted_part_id"],
        &[],
    ),
    ("meter_reading", &["id", "unit_id", "depot_id"], &[]),
];
const INPUTS: [&str; 8] = [
    "depot",
    "model",
    "sheet",
    "unit",
    "inspection",
    "fitted_part",
    "reading",
    "meter_reading",
];
const RESULTS: [(&str, &str); 4] = [
    ("unit_state", "true"),
    ("depot_state", "true"),
    ("alert", "true"),
    (
        "feed_entry",
        "kind in ('unit-state', 'depot-state', 'alert')",
    ),
];

async fn connect(url: &str) -> Client {
    let (client, connection) = tokio_postgres::connect(url, NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    client
}

/// Inspections a month apart, the last a week ago, 12 hours run from one to the next, worn as the sheet says.
async fn inspect(actor: &Actor, sheet: &Sheet, unit: &str) {
    for index in 0..READINGS {
        let run_hours = 12.0 * (index + 1) as f64;
        let last = index == READINGS - 1;
        let read = |(check, mut reading): (&CheckSpec, Value)| {
            let wear = match &check.reads {
                Reads::Measure(measure) => sheet
                    .parts
                    .iter()
                    .flat_map(|part| sheet.wear_checks(&part.part))
                    .find(|(worn, ..)| worn.check == check.check)
                    .map(|(_, _, wear)| (measure, wear)),
                _ => None,
            };
            match wear {
                Some((measure, wear)) => {
                    let sign = if measure.limits.high.is_some() {
                        1.0
                    } else {
                        -1.0
                    };
                    let worn = sign * wear.rate.value * run_hours;
                    reading["value"] = json!(measure.limits.as_new.value + worn);
                    Some(reading)
                }
                None => last.then_some(reading),
            }
        };
        let readings = sheet.checks.iter().zip(sound_readings(sheet));
        let inspection = json!({
            "unit_id": unit, "kind": if last { "pre_season" } else { "in_season" },
            "performed_at": days_ago(7 + 30 * (READINGS - 1 - index)), "run_hours": run_hours,
            "readings": readings.filter_map(read).collect::<Vec<_>>(),
        });
        actor.post("/v1/inspections", &inspection).await.expect(201);
    }
}

/// Copies of the depot and all that is known of it.
async fn copy(owner: &Client, depot: Uuid, copies: i32) {
    let setup = "set session_replication_role = replica;
        create function pg_temp.other(id uuid, copy int) returns uuid language sql immutable strict
            return md5(id::text || copy)::uuid";
    owner.batch_execute(setup).await.expect("set up");
    for (table, ids, names) in COPIED {
        let columns = owner
            .query(
                "select column_name::text from information_schema.columns
                 where table_schema = 'public' and table_name = $1 and is_generated = 'NEVER'",
                &[&table],
            )
            .await
            .expect("its columns");
        let columns: Vec<String> = columns.iter().map(|row| row.get(0)).collect();
        let values = columns.iter().map(|column| match column.as_str() {
            id if ids.contains(&id) => format!("pg_temp.other(t.{id}, n)"),
            name if names.contains(&name) => format!("t.{name} || '/' || n"),
            other => format!("t.{other}"),
        });
        let narrowed = match table {
            "depot" => "t.id = $1",
            "feed_scope" => "t.scope_id = $1",
            "mark" | "unit" => "t.depot_id = $1",
            // Only machines at this depot have any.
            _ => "$1::uuid is not null",
        };
        let copied = format!(
            "insert into {table} ({}) select {} from {table} t cross join generate_series(1, {copies}) n where {narrowed}",
            columns.join(", "),
            values.collect::<Vec<_>>().join(", ")
        );
        owner.execute(&copied, &[&depot]).await.expect("copied");
    }
    for statement in ["set session_replication_role = origin", "vacuum analyze"] {
        owner.batch_execute(statement).await.expect("ready");
    }
}

/// Rows of a table, as COPY has them; kept if they are to be.
async fn copy_out(owner: &Client, what: &str, keep: bool) -> (u64, Vec<Bytes>) {
    let rows = owner
        .copy_out(&format!("copy {what} to stdout"))
        .await
        .expect("out");
    let mut rows = std::pin::pin!(rows);
    let (mut bytes, mut kept) = (0, Vec::new());
    while let Some(piece) = rows.next().await {
        let piece = piece.expect("a piece");
        bytes += piece.len() as u64;
        if keep {
            kept.push(piece);
        }
    }
    (bytes, kept)
}

/// All inputs out and all results in, in bytes of each and the time that it took.
async fn floor(owner: &Client) -> (u64, u64, Duration) {
    let (mut read, mut written, mut elapsed) = (0, 0, Duration::ZERO);
    for table in INPUTS {
        let started = Instant::now();
        read += copy_out(owner, table, false).await.0;
        elapsed += started.elapsed();
    }
    for (table, narrowed) in RESULTS {
        let (bytes, pieces) = copy_out(
            owner,
            &format!("(select * from {table} where {narrowed})"),
            true,
        )
        .await;
        written += bytes;
        let other = format!("create table floor_{table} (like {table} including all)");
        owner.batch_execute(&other).await.expect("made");
        let started = Instant::now();
        let sink = owner
            .copy_in(&format!("copy floor_{table} from stdin"))
            .await
            .expect("in");
        let mut sink = std::pin::pin!(sink);
        for piece in pieces {
            sink.send(piece).await.expect("taken");
        }
        sink.finish().await.expect("written");
        elapsed += started.elapsed();
    }
    (read, written, elapsed)
}

/// This process's memory at its peak, MiB.
fn peak_mib() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM"));
    let kilobytes = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<f64>().ok());
    kilobytes.unwrap_or(f64::NAN) / 1024.0
}

async fn work(owner: &Client, database: &Database) -> (rimeyard_worker::Pass, Duration, f64) {
    owner
        .batch_execute("update mark set due_at = now(), gen = gen + 1")
        .await
        .expect("all are due");
    // Forget the peak so far.
    let _ = std::fs::write("/proc/self/clear_refs", "5");
    let started = Instant::now();
    let pass = drain(database, &Settings::default())
        .await
        .expect("drained");
    let elapsed = started.elapsed();
    assert_eq!(pass.failures, []);
    (pass, elapsed, peak_mib())
}

#[tokio::main]
async fn main() {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let depots: i32 = asked.unwrap_or(1_000);
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    let home = server.world.ours.home.id;
    let sheet = two_stage_thrower();
    let machines = Machines::make(&actor, home, MACHINES).await;
    for unit in &machines.units {
        inspect(&actor, &sheet, unit).await;
    }
    let owner = connect(&server.owner_url).await;
    let started = Instant::now();
    copy(&owner, home, depots - 1).await;
    let mut counts = String::new();
    for table in ["depot", "unit", "inspection", "reading", "fitted_part"] {
        let count = owner
            .query_one(&format!("select count(*) from {table}"), &[])
            .await;
        let count: i64 = count.expect("counted").get(0);
        write!(counts, "{count} rows of {table}, ").expect("written");
    }
    println!("{counts}made in {:.0} s", started.elapsed().as_secs_f64());

    let database = Database::connect(&server.login_url, Sizes::default())
        .await
        .expect("connected");
    let units = f64::from(depots) * MACHINES as f64;
    let (first, worker, peak) = work(&owner, &database).await;
    println!(
        "worker: {} depots, {} documents in {:.1} s: {:.0} units/s; this process {peak:.0} MiB at its peak",
        first.recomputed,
        first.documents,
        worker.as_secs_f64(),
        units / worker.as_secs_f64()
    );
    let (again, unchanged, _) = work(&owner, &database).await;
    println!(
        "again: {} depots, {} documents in {:.1} s: {:.0} units/s",
        again.recomputed,
        again.documents,
        unchanged.as_secs_f64(),
        units / unchanged.as_secs_f64()
    );
    let (read, written, floor) = floor(&owner).await;
    println!(
        "floor: {:.0} MB out and {:.0} MB in, in {:.1} s\nworker is {:.2} times the floor (aim: at most 4), again {:.2} times",
        read as f64 / 1e6,
        written as f64 / 1e6,
        floor.as_secs_f64(),
        worker.as_secs_f64() / floor.as_secs_f64(),
        unchanged.as_secs_f64() / floor.as_secs_f64()
    );
}
