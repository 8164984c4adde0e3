//! Pass after pass, until told to stop.

use std::pin::pin;
use std::time::Duration;

use rimeyard_store::Database;

use crate::pass::pass;
use crate::settings::Settings;

/// How long to wait after the database was out of reach.
const AWAY: Duration = Duration::from_secs(1);

/// Recomputes what is due, and what becomes due, until `shutdown` completes. What has been taken by then is finished
/// first. A database that is out of reach is waited for.
pub async fn run(database: Database, settings: Settings, shutdown: impl Future<Output = ()>) {
    let mut shutdown = pin!(shutdown);
    tracing::info!(settings = ?settings, "worker.started");
    loop {
        let pause = match pass(&database, &settings).await {
            // Whoever takes as much as a pass may hold has not seen the end of it.
            Ok(done) if done.taken() as i64 >= settings.depots_max => Duration::ZERO,
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
    tracing::info!("worker.stopped");
}
