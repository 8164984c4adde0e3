//! Workers that race, are overtaken, or die halfway. A writer that holds a depot's scope stops a worker in the one
//! place that matters, between having computed and publishing.

use std::time::Duration;

use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use rimeyard_store::hold::{self, NewHold};
use rimeyard_store::{Role, Tenant, feed};
use rimeyard_worker::{Pass, drain, pass};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use uuid::Uuid;

use super::{
    Running, assert_stored_is_recomputed, drained, eventually, head, mark, owner, settings,
};

/// A write in progress at Home: it holds the scope until it is let go.
struct Writer {
    go: oneshot::Sender<()>,
    task: JoinHandle<()>,
}

impl Writer {
    /// Waits until the scope is held. The write hangs a tag on `unit`, or changes nothing.
    async fn start(server: &TestServer, unit: Option<Uuid>) -> Self {
        let (go, gone) = oneshot::channel::<()>();
        let (holding, held) = oneshot::channel::<()>();
        let (database, depot) = (server.database.clone(), server.world.ours.home.id);
        let tenant = Tenant {
            person_id: Some(person(server).await),
            role: Role::Operator,
            ..Tenant::system(server.world.ours.org_id)
        };
        let task = tokio::spawn(async move {
            let signals = std::sync::Mutex::new(Some((holding, gone)));
            let work = async |tx: &mut feed::Write<'_>| {
                if let Some(unit_id) = unit {
                    let new = NewHold {
                        id: None,
                        reason: "a cracked guard".to_owned(),
                        to_be_lifted_by: None,
                    };
                    hold::place(tx, unit_id, &new).await?;
                }
                let signals = signals.lock().expect("not poisoned").take();
                if let Some((holding, gone)) = signals {
                    let _ = holding.send(());
                    let _ = gone.await;
                }
                Ok(())
            };
            feed::write(&database, &tenant, &[depot], work)
                .await
                .expect("written");
        });
        held.await.expect("the scope is held");
        Self { go, task }
    }

    async fn commit(self) {
        let _ = self.go.send(());
        self.task.await.expect("the writer ends well");
    }
}

async fn person(server: &TestServer) -> Uuid {
    let me = server.operator().await.get("/v1/me").await.expect(200);
    me.json()["person_id"]
        .as_str()
        .expect("an id")
        .parse()
        .expect("a UUID")
}

/// Until somebody waits for a lock that a writer holds.
async fn until_a_worker_waits(server: &TestServer) {
    let owner = owner(server).await;
    eventually("a worker waits for the scope", Duration::from_secs(10), async || {
        let waiting = "select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'";
        owner.query_one(waiting, &[]).await.expect("asked").get::<_, i64>(0) > 0
    })
    .await;
}

async fn home_with_machines(server: &TestServer) -> Vec<Uuid> {
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&server.administrator().await, home, 2, 1).await;
    drained(server).await;
    machines
        .units
        .iter()
        .map(|unit| unit.parse().expect("a UUID"))
        .collect()
}

#[tokio::test]
async fn marked_again_while_it_is_computed_it_is_computed_again() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let units = home_with_machines(&server).await;

    mark(&server, home).await;
    let writer = Writer::start(&server, Some(units[0])).await;
    let database = server.database.clone();
    let overtaken = tokio::spawn(async move { pass(&database, &settings()).await });
    until_a_worker_waits(&server).await;
    writer.commit().await;
    let done = overtaken.await.expect("no panic").expect("a pass");
    assert_eq!(
        done,
        Pass {
            overtaken: 1,
            ..Pass::default()
        },
        "what it computed lacks the hold"
    );

    let done = drained(&server).await;
    assert_eq!(done.recomputed, 1);
    let path = format!("/v1/readiness/units/{}", units[0]);
    assert_eq!(
        server.operator().await.get(&path).await.expect(200).json()["status"],
        "held"
    );
    assert_stored_is_recomputed(&server, 4).await;
}

#[tokio::test]
async fn a_worker_that_dies_holding_a_lease_loses_nothing_and_another_finishes_once() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let units = home_with_machines(&server).await;
    let operator = server.operator().await;
    let tag = serde_json::json!({"reason": "no clean-out tool"});
    operator
        .post(&format!("/v1/units/{}/holds", units[1]), &tag)
        .await
        .expect(201);
    let before = head(&server, home).await;

    let writer = Writer::start(&server, None).await;
    let database = server.database.clone();
    let victim = tokio::spawn(async move { pass(&database, &settings()).await });
    until_a_worker_waits(&server).await;
    victim.abort();
    assert!(victim.await.expect_err("it died").is_cancelled());
    writer.commit().await;

    let early = drain(&server.database, &settings()).await.expect("drained");
    assert_eq!(
        early.taken(),
        0,
        "the dead worker's lease is respected until it ends"
    );
    // It ends.
    owner(&server)
        .await
        .execute(
            "update mark set leased_until = now() where leased_until is not null",
            &[],
        )
        .await
        .expect("ended");
    let workers = [(); 2].map(|()| Running::start(&server.database, settings()));
    eventually(
        "another worker takes over",
        Duration::from_secs(10),
        async || {
            let path = format!("/v1/readiness/units/{}", units[1]);
            operator.get(&path).await.expect(200).json()["status"] == "held"
        },
    )
    .await;
    for worker in workers {
        worker.stop().await;
    }
    assert_eq!(
        head(&server, home).await,
        before + 1,
        "one commit: published once, by one of them"
    );
    assert_stored_is_recomputed(&server, 4).await;
}

#[tokio::test]
async fn told_to_stop_a_worker_finishes_what_it_took() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    home_with_machines(&server).await;
    mark(&server, home).await;
    let writer = Writer::start(&server, None).await;
    let worker = Running::start(&server.database, settings());
    until_a_worker_waits(&server).await;
    // It is told before what it waits for ends: futures joined are polled in their order.
    tokio::join!(worker.stop(), writer.commit());
    assert_eq!(
        drained(&server).await.taken(),
        0,
        "nothing is left due or leased"
    );
    assert_stored_is_recomputed(&server, 4).await;
}
