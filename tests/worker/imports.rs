//! Imports whose workers die, race or meet what has changed: applied exactly once, whatever happens.

use std::collections::BTreeSet;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rimeyard_harness::{Actor, TestServer};
use rimeyard_store::{Tenant, feed};
use rimeyard_worker::{Settings, imports};
use serde_json::{Value, json};
use tokio::sync::oneshot;

use super::{Running, eventually, owner, settings};

/// So short that a test can wait for what a dead worker held.
fn hasty() -> Settings {
    Settings {
        lease: Duration::from_millis(400),
        ..settings()
    }
}

/// Machines `M-0` and so on of one model, brought by a table.
async fn machines(server: &TestServer, actor: &Actor, count: usize) {
    let new = json!({"name": "thrower", "kind": "two-stage thrower"});
    let checklist = actor.post("/v1/checklists", &new).await.expect(201).id();
    let new = json!({"name": "thrower", "kind": "two-stage thrower", "checklist_id": checklist});
    actor.post("/v1/models", &new).await.expect(201);
    let rows: String = (0..count)
        .map(|machine| format!("M-{machine},Home,thrower\n"))
        .collect();
    let table = format!("tag,depot,model\n{rows}");
    bring(actor, "units", table).await;
    imports::drain(&server.database, &settings())
        .await
        .expect("drained");
}

/// `rounds` readings of each of `machines` machines.
fn readings(machines: usize, rounds: usize) -> String {
    let mut table = String::from("tag,read at,hours,started\n");
    for round in 0..rounds {
        let at = jiff::Timestamp::constant(1_672_531_200, 0)
            + jiff::SignedDuration::from_hours(5 * round as i64);
        for machine in 0..machines {
            table += &format!("M-{machine},{at},{round},yes\n");
        }
    }
    table
}

async fn bring(actor: &Actor, what: &str, table: String) -> String {
    let path = format!("/v1/imports?what={what}&dry_run=false");
    actor.post_table(&path, table).await.expect(202).id()
}

async fn seen(actor: &Actor, id: &str) -> Value {
    actor
        .get(&format!("/v1/imports/{id}"))
        .await
        .expect(200)
        .json()
}

/// Each machine has each of its readings once, none of them doubted, and the feed says the same.
async fn applied_once(server: &TestServer, machines: i64, rounds: i64) {
    let found = owner(server)
        .await
        .query_one(
            "select count(*), count(distinct (unit_id, read_at)), count(distinct unit_id), count(distinct read_at),
                    count(*) filter (where flags <> '{}'),
                    (select count(*) from feed_entry where kind = 'meter-reading' and not deleted)
             from meter_reading",
            &[],
        )
        .await
        .expect("counted");
    let counts: Vec<i64> = (0..6).map(|column| found.get(column)).collect();
    let all = machines * rounds;
    assert_eq!(counts, [all, all, machines, rounds, 0, all]);
    let heads = owner(server)
        .await
        .query("select s.scope_id from feed_scope s join feed_entry e using (org_id, scope_id) group by s.org_id, s.scope_id, s.head, s.digest
                having s.digest <> bit_xor(e.digest) filter (where not e.deleted) or s.head <> max(e.seq)", &[])
        .await
        .expect("asked");
    assert!(heads.is_empty(), "every digest is that of its documents");
}

#[tokio::test]
async fn dropped_again_and_again_it_is_applied_exactly_once() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    machines(&server, &actor, 20).await;
    let id = bring(&actor, "meter-readings", readings(20, 150)).await;
    let (started, mut dropped, mut partly) = (Instant::now(), 0, BTreeSet::new());
    loop {
        // A little longer each time, so that it is let go at ever other places.
        let how_long = Duration::from_millis(150 + 61 * (dropped % 9));
        let ended = tokio::time::timeout(how_long, imports::pass(&server.database, &hasty())).await;
        if ended.is_err() {
            dropped += 1;
        }
        let import = seen(&actor, &id).await;
        let applied = import["rows_applied"].as_i64().expect("a number");
        if applied > 0 && applied < 3_000 {
            partly.insert(applied);
        }
        if import["state"] == "applied" {
            break;
        }
        assert!(started.elapsed() < Duration::from_secs(90), "{import}");
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(
        dropped > 2 && partly.len() > 1,
        "dropped {dropped} times, seen at {partly:?}"
    );
    applied_once(&server, 20, 150).await;
}

/// Somebody else's write holds the scope, so a worker stands in the middle of a piece; there it dies.
#[tokio::test]
async fn killed_within_a_piece_nothing_of_it_is_left_and_another_goes_on() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    machines(&server, &actor, 5).await;
    let home = server.world.ours.home.id;
    let id = bring(&actor, "meter-readings", readings(5, 20)).await;
    let (go, gone) = oneshot::channel::<()>();
    let (holding, held) = oneshot::channel::<()>();
    let (database, house) = (
        server.database.clone(),
        Tenant::system(server.world.ours.org_id),
    );
    let writer = tokio::spawn(async move {
        let signals = std::sync::Mutex::new(Some((holding, gone)));
        feed::write(&database, &house, &[home], async |_| {
            let signals = signals.lock().expect("not poisoned").take();
            if let Some((holding, gone)) = signals {
                let _ = holding.send(());
                let _ = gone.await;
            }
            Ok(())
        })
        .await
        .expect("written");
    });
    held.await.expect("the scope is held");
    let database = server.database.clone();
    let worker = tokio::spawn(async move { imports::pass(&database, &hasty()).await });
    let asked = owner(&server).await;
    eventually("the worker waits for the scope", Duration::from_secs(20), async || {
        let waiting = "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'";
        asked.query_one(waiting, &[]).await.expect("asked").get::<_, i64>(0) > 0
    })
    .await;
    worker.abort();
    assert!(worker.await.expect_err("killed").is_cancelled());
    let _ = go.send(());
    writer.await.expect("the writer ends well");
    let import = seen(&actor, &id).await;
    assert_eq!(
        (&import["state"], &import["rows_applied"]),
        (&json!("applying"), &json!(0))
    );
    tokio::time::sleep(hasty().lease).await;
    eventually("another goes on", Duration::from_secs(20), async || {
        imports::drain(&server.database, &hasty())
            .await
            .expect("drained");
        seen(&actor, &id).await["state"] == "applied"
    })
    .await;
    applied_once(&server, 5, 20).await;
}

/// `rimeyard-worker run` as people start it.
fn worker(server: &TestServer) -> Child {
    Command::new(env!("CARGO_BIN_EXE_rimeyard-worker-under-test"))
        .args([
            "run",
            "--lease-s",
            "1",
            "--poll-ms",
            "5",
            "--scratch-database",
        ])
        .env("DATABASE_URL", &server.login_url)
        .stderr(Stdio::null())
        .spawn()
        .expect("it starts")
}

#[tokio::test]
async fn a_worker_process_killed_halfway_is_followed_by_another() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    machines(&server, &actor, 20).await;
    let id = bring(&actor, "meter-readings", readings(20, 200)).await;
    let mut seen_at = Vec::new();
    for _ in 0..2 {
        let mut child = worker(&server);
        let before = seen(&actor, &id).await["rows_applied"]
            .as_i64()
            .expect("a number");
        eventually("it gets on", Duration::from_secs(60), async || {
            seen(&actor, &id).await["rows_applied"]
                .as_i64()
                .expect("a number")
                > before
        })
        .await;
        // SIGKILL.
        child.kill().expect("killed");
        child.wait().expect("gone");
        seen_at.push(
            seen(&actor, &id).await["rows_applied"]
                .as_i64()
                .expect("a number"),
        );
    }
    let mut last = worker(&server);
    eventually("it is applied", Duration::from_secs(120), async || {
        seen(&actor, &id).await["state"] == "applied"
    })
    .await;
    last.kill().expect("killed");
    last.wait().expect("gone");
    assert!(seen_at[0] < 4_000, "killed halfway: {seen_at:?}");
    applied_once(&server, 20, 200).await;
}

#[tokio::test]
async fn two_workers_at_once_do_each_thing_once() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    machines(&server, &actor, 10).await;
    let first = bring(&actor, "meter-readings", readings(10, 100)).await;
    let snow: String = (1..=28)
        .map(|day| format!("Home,2024-02-{day:02},{day}\n"))
        .collect();
    let second = bring(&actor, "snowfall", format!("depot,day,snow (mm)\n{snow}")).await;
    let workers: Vec<Running> = (0..3)
        .map(|_| Running::start(&server.database, hasty()))
        .collect();
    for id in [first, second] {
        eventually("it is applied", Duration::from_secs(60), async || {
            seen(&actor, &id).await["state"] == "applied"
        })
        .await;
    }
    for worker in workers {
        worker.stop().await;
    }
    applied_once(&server, 10, 100).await;
    let days = owner(&server)
        .await
        .query_one("select count(*) from snowfall", &[])
        .await
        .expect("counted");
    assert_eq!(days.get::<_, i64>(0), 28);
}

#[tokio::test]
async fn what_no_longer_fits_halts_it_by_its_row_and_it_goes_on_when_that_is_put_right() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    machines(&server, &actor, 1).await;
    let rows: String = (0..60)
        .map(|machine| format!("N-{machine},Home,thrower\n"))
        .collect();
    let table = format!("tag,depot,model\n{rows}");
    let id = actor
        .post_table("/v1/imports?what=units", table)
        .await
        .expect(202)
        .id();
    imports::drain(&server.database, &settings())
        .await
        .expect("drained");
    assert_eq!(seen(&actor, &id).await["state"], "checked");
    // Meanwhile somebody gives another machine the tag of row 42.
    let unit = actor.get("/v1/units?tag=M-0").await.expect(200).json()["items"][0]["id"].clone();
    let path = format!("/v1/units/{}", unit.as_str().expect("an id"));
    let etag = actor.get(&path).await.expect(200).etag();
    actor
        .patch(&path, &etag, &json!({"tag": "N-40"}))
        .await
        .expect(200);
    let apply = format!("/v1/imports/{id}/apply");
    actor.post(&apply, &json!({})).await.expect(202);
    imports::drain(&server.database, &settings())
        .await
        .expect("drained");
    let halted = seen(&actor, &id).await;
    assert_eq!(
        (&halted["state"], &halted["rows_applied"]),
        (&json!("halted"), &json!(40)),
        "{halted}"
    );
    assert_eq!(
        (
            &halted["first_faults"][0]["row"],
            &halted["first_faults"][0]["field"]
        ),
        (&json!(42), &json!("tag"))
    );
    let etag = actor.get(&path).await.expect(200).etag();
    actor
        .patch(&path, &etag, &json!({"tag": "M-0"}))
        .await
        .expect(200);
    actor.post(&apply, &json!({})).await.expect(202);
    imports::drain(&server.database, &settings())
        .await
        .expect("drained");
    let applied = seen(&actor, &id).await;
    assert_eq!(
        (
            &applied["state"],
            &applied["rows_applied"],
            &applied["faults"]
        ),
        (&json!("applied"), &json!(60), &json!(0))
    );
    let units = owner(&server)
        .await
        .query_one("select count(*), count(distinct tag) from unit", &[])
        .await
        .expect("counted");
    assert_eq!((units.get::<_, i64>(0), units.get::<_, i64>(1)), (61, 61));
}

#[tokio::test]
async fn what_was_staged_goes_after_thirty_days_and_what_was_applied_stays() {
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    let snow = "depot,day,snow (mm)\nHome,2024-02-01,3\nHome,2024-02-02,3\n";
    let old = bring(&actor, "snowfall", snow.to_owned()).await;
    let bad = bring(
        &actor,
        "snowfall",
        "depot,day,snow (mm)\nNo,2024-02-01,3\n".to_owned(),
    )
    .await;
    imports::drain(&server.database, &settings())
        .await
        .expect("drained");
    let young = bring(&actor, "snowfall", snow.replace("2024", "2023")).await;
    let past = owner(&server).await;
    for (table, id, at) in [
        ("import", "id", "created_at"),
        ("import_row", "import_id", "at"),
        ("import_item", "import_id", "at"),
        ("import_fault", "import_id", "at"),
    ] {
        let age = format!(
            "update {table} set {at} = {at} - interval '30 days 1 minute' where {id} <> $1"
        );
        let young: uuid::Uuid = young.parse().expect("an id");
        past.execute(&age, &[&young]).await.expect("aged");
    }
    // In batches of one, until there is nothing left.
    let mut sweeps = 0;
    while rimeyard_store::sweep::sweep(&server.database, 1)
        .await
        .expect("swept")
        .most()
        > 0
    {
        sweeps += 1;
        assert!(sweeps < 20);
    }
    assert!(sweeps > 2, "{sweeps}");
    for id in [&old, &bad] {
        actor.get(&format!("/v1/imports/{id}")).await.expect(404);
    }
    assert_eq!(seen(&actor, &young).await["state"], "checking");
    let days = past
        .query_one("select count(*) from snowfall", &[])
        .await
        .expect("counted");
    assert_eq!(days.get::<_, i64>(0), 2);
}
