//! Learning beside other work: two workers learn once, and depots are recomputed meanwhile.

use std::time::Duration;

use jiff::Timestamp;
use rimeyard_rules::learn::Learned;
use rimeyard_rules::sheet::two_stage_thrower;
use rimeyard_store::{Tenant, feed, learned as store};

use super::*;
use crate::worker::{Running, eventually, owner};

async fn one_machine(server: &TestServer) -> (Actor, Machines) {
    let administrator = server.administrator().await;
    let machines = Machines::make_sound(&administrator, server.world.ours.home.id, 1, 3).await;
    (administrator, machines)
}

/// That a second worker finds the first at it is the lock's doing; the next test has what stands without.
#[tokio::test]
async fn a_worker_that_finds_another_learning_leaves_it_to_that() {
    let server = TestServer::start().await;
    let (administrator, machines) = one_machine(&server).await;
    let other = store::alone(&server.database, server.world.ours.org_id, async {
        Ok(learn(&server).await)
    });
    assert_eq!(other.await.expect("locked"), Some(0));
    assert_eq!(learned(&administrator, &machines.model).await["version"], 0);
    // It is let go of.
    assert_eq!(learn(&server).await, 1);
}

#[tokio::test]
async fn what_comes_too_late_is_not_kept() {
    let server = TestServer::start().await;
    let (administrator, machines) = one_machine(&server).await;
    let ours = server.world.ours.org_id;
    let house = Tenant::system(ours);
    let due = async || {
        let lesson = server.database.read(&house, store::lesson).await;
        lesson
            .expect("read")
            .expect("something is due")
            .due
            .remove(0)
    };
    let content = Learned::nothing(&two_stage_thrower());
    let add = async |due: &store::Due| {
        let content = content.clone();
        feed::write(&server.database, &house, &[ours], async |tx| {
            store::add(tx, due, content.clone(), Timestamp::now()).await
        })
        .await
        .expect("written")
    };
    // Two looked at the same time.
    let first = due().await;
    assert_eq!(add(&first).await.map(|kept| kept.version), Some(1));
    assert_eq!(add(&first).await, None);
    // The sheet was changed while one was learning.
    let path = format!("/v1/models/{}/sheets", machines.model);
    let sheet = administrator.get(&format!("{path}/1")).await.expect(200);
    let sheet = &sheet.json()["content"];
    administrator.post(&path, sheet).await.expect(201);
    let slow = due().await;
    administrator.post(&path, sheet).await.expect(201);
    assert_eq!(add(&slow).await, None);
    let last = due().await;
    assert_eq!((last.sheet_version, last.version_before), (3, Some(1)));
    let kept = add(&last)
        .await
        .map(|kept| (kept.version, kept.sheet_version));
    assert_eq!(kept, Some((2, 3)));
}

/// What was learned is kept under the organisation's scope, and depots are recomputed under their own: while somebody holds
/// the first, learning stands still.
#[tokio::test]
async fn depots_are_recomputed_while_it_is_learned_and_who_stops_does_not_wait_for_it() {
    let server = TestServer::start().await;
    let (administrator, machines) = one_machine(&server).await;
    drained(&server).await;
    let owner = owner(&server).await;
    let hold = format!(
        "begin; select from feed_scope where scope_id = '{}' for update",
        server.world.ours.org_id
    );
    owner.batch_execute(&hold).await.expect("held");
    let worker = Running::start_to_learn(&server.database, settings());
    let waits = "select count(*) from pg_stat_activity
                 where datname = current_database() and wait_event_type = 'Lock'";
    // Shorter than a statement may take: until then it waits.
    let soon = Duration::from_secs(25);
    eventually("it learns", soon, async || {
        let row = owner.query_one(waits, &[]).await.expect("counted");
        row.get::<_, i64>(0) > 0
    })
    .await;
    let hold = json!({"reason": "smells of fuel"});
    let path = format!("/v1/units/{}/holds", machines.units[0]);
    administrator.post(&path, &hold).await.expect(201);
    let path = format!("/v1/readiness/units/{}", machines.units[0]);
    eventually("the hold shows", soon, async || {
        administrator.get(&path).await.expect(200).json()["status"] == "held"
    })
    .await;
    tokio::time::timeout(soon, worker.stop())
        .await
        .expect("it stops while it learns");
    assert_eq!(learned(&administrator, &machines.model).await["version"], 0);
    owner.batch_execute("rollback").await.expect("let go");
    // Who was stopped lets go of its lock when Postgres sees that it is gone.
    eventually("it is learned", soon, async || {
        learn(&server).await;
        learned(&administrator, &machines.model).await["version"] == 1
    })
    .await;
}
