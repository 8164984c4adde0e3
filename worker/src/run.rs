//! Pass after pass, until told to stop.

use std::pin::pin;
use std::time::{Duration, Instant};

use rimeyard_store::Database;
use rimeyard_store::sweep::sweep;
use tokio::task::JoinSet;

use crate::pass::pass;
use crate::settings::Settings;
use crate::{imports, learn};

/// How long to wait after the database was out of reach.
const AWAY: Duration = Duration::from_secs(1);

/// So much of each kind is swept out between two passes.
const SWEEP_MAX: i64 = 1_000;

/// Works ([`work`]) until `shutdown` completes, and beside that learns anew what the fleet teaches.
pub async fn run(database: Database, settings: Settings, shutdown: impl Future<Output = ()>) {
    tracing::info!(settings = ?settings, "worker.started");
    // Dropped half way it has lost nothing: what was learned until then is kept.
    let mut learning = JoinSet::new();
    learning.spawn(learn::run(database.clone(), settings.clone()));
    work(database, settings, shutdown).await;
    learning.shutdown().await;
    tracing::info!("worker.stopped");
}

/// Recomputes what is due, and what becomes due, and works on imports, until `shutdown` completes. What has been taken by
/// then is finished first. A database that is out of reach is waited for. Now and then, what has served its time is swept
/// out.
pub async fn work(database: Database, settings: Settings, shutdown: impl Future<Output = ()>) {
    let mut shutdown = pin!(shutdown);
    let mut swept: Option<Instant> = None;
    loop {
        if swept.is_none_or(|at| at.elapsed() >= settings.sweep_every) {
            match sweep(&database, SWEEP_MAX).await {
                Ok(gone) => {
                    // What was as much as it may be goes on after the next pass.
                    swept = ((gone.most() as i64) < SWEEP_MAX).then(Instant::now);
                    tracing::info!(?gone, "worker.swept");
                }
                Err(error) => {
                    swept = Some(Instant::now());
                    tracing::warn!(error.cause = %error, "worker.sweep.failed");
                }
            }
        }
        // Both in turn: a large import does not keep depots waiting, nor the other way round.
        let imported = match imports::pass(&database, &settings).await {
            Ok(imported) => imported.taken(),
            Err(error) => {
                tracing::warn!(error.cause = %error, "worker.import.interrupted");
                0
            }
        };
        let pause = match pass(&database, &settings).await {
            // Whoever takes as much as a pass may hold has not seen the end of it.
            Ok(done) if imported > 0 || done.taken() as i64 >= settings.depots_max => {
                Duration::ZERO
            }
            Ok(_) => settings.poll_every,
            Err(error) => {
                tracing::warn!(error.cause = %error, "worker.pass.failed");
                AWAY
            }
        };
        tokio::select! {
            biased;
            () = &mut shutdown => break,
            () = tokio::time::sleep(pause) => {}
        }
    }
}
