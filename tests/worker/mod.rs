//! The reconciler: what is written shows, what is stored is what is computed, and no crash, race or fault of one depot
//! changes that. Real server, real Postgres, workers in this process.

mod alerts;
mod checked;
mod crash;
mod due;
mod faults;
mod imports;
mod learn;
mod reconciles;
mod time;

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};

use jiff::{SignedDuration, Timestamp};
use rimeyard_harness::TestServer;
use rimeyard_store::{Database, Tenant, feed};
use rimeyard_worker::check::{Comparison, check};
use rimeyard_worker::{Pass, Settings, drain, run, work};
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use uuid::Uuid;

/// Settings of a test's worker.
fn settings() -> Settings {
    Settings::default()
}

/// A clock that a test moves: the present, and what was added to it.
#[derive(Clone, Default)]
struct Moved(Arc<AtomicI64>);

impl Moved {
    /// It is later now by this much.
    fn ahead(&self, by: SignedDuration) {
        self.0.fetch_add(by.as_millis() as i64, Ordering::SeqCst);
    }

    /// It is this instant now, a second of grace added.
    fn to(&self, instant: Timestamp) {
        let ahead = instant.duration_since(Timestamp::now()).as_millis() as i64 + 1_000;
        self.0.store(ahead.max(0), Ordering::SeqCst);
    }

    fn settings(&self) -> Settings {
        let moved = self.0.clone();
        Settings {
            clock: Arc::new(move || {
                Timestamp::now() + SignedDuration::from_millis(moved.load(Ordering::SeqCst))
            }),
            ..settings()
        }
    }
}

/// A worker that runs until it is told to stop.
struct Running {
    stop: oneshot::Sender<()>,
    task: JoinHandle<()>,
}

impl Running {
    /// It recomputes, and learns nothing meanwhile: what it learns is due for recomputing again, whenever that was.
    fn start(database: &Database, settings: Settings) -> Self {
        let (stop, stopped) = oneshot::channel::<()>();
        let task = tokio::spawn(work(database.clone(), settings, async {
            let _ = stopped.await;
        }));
        Self { stop, task }
    }

    /// It learns too.
    fn start_to_learn(database: &Database, settings: Settings) -> Self {
        let (stop, stopped) = oneshot::channel::<()>();
        let task = tokio::spawn(run(database.clone(), settings, async {
            let _ = stopped.await;
        }));
        Self { stop, task }
    }

    /// Tells it to stop, and waits until it has.
    async fn stop(self) {
        let _ = self.stop.send(());
        self.task.await.expect("the worker ends well");
    }
}

/// Recomputes what is due, none of it failing.
async fn drained(server: &TestServer) -> Pass {
    let done = drain(&server.database, &settings()).await.expect("drained");
    assert_eq!(done.failures, [], "no depot fails");
    done
}

/// Everything stored is what is computed from it, for as many depots.
async fn assert_stored_is_recomputed(server: &TestServer, depots: usize) {
    let checked = check(&server.database).await.expect("checked");
    assert_eq!(checked.len(), depots);
    for depot in checked {
        assert_eq!(
            depot.comparison,
            Comparison::Equal,
            "depot {}",
            depot.depot_id
        );
    }
}

/// Marks a depot as any write does, no fact changed.
async fn mark(server: &TestServer, depot: Uuid) {
    let house = Tenant::system(server.world.ours.org_id);
    feed::write(&server.database, &house, &[depot], async |tx| {
        tx.mark(depot);
        Ok(())
    })
    .await
    .expect("marked");
}

/// The number of a depot's last commit in the feed.
async fn head(server: &TestServer, depot: Uuid) -> i64 {
    let owner = owner(server).await;
    let row = owner
        .query_one("select head from feed_scope where scope_id = $1", &[&depot])
        .await;
    row.expect("a scope").get(0)
}

/// The database past row-level security.
async fn owner(server: &TestServer) -> tokio_postgres::Client {
    let (client, connection) = tokio_postgres::connect(&server.owner_url, tokio_postgres::NoTls)
        .await
        .expect("the owner connects");
    tokio::spawn(connection);
    client
}

/// Until `condition` holds; it fails after `within`.
async fn eventually(what: &str, within: Duration, condition: impl AsyncFn() -> bool) -> Duration {
    let started = Instant::now();
    while !condition().await {
        assert!(started.elapsed() < within, "{what}: not within {within:?}");
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    started.elapsed()
}
