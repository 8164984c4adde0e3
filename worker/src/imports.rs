//! Imports: one pass takes the one that has waited longest and gets it on, step by step, for as long as it may. Nothing
//! is kept between two steps: whoever dies loses the step it was at, and another goes on once the lease is over.

use std::time::Instant;

use rimeyard_store::import::{self, Claim, Step};
use rimeyard_store::{Database, Error, Result};

use crate::settings::Settings;

/// What a pass did.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Imported {
    /// Steps that were taken.
    pub steps: usize,
    /// Rows that were checked or applied.
    pub rows: usize,
    /// Imports that could not be got on.
    pub failed: usize,
}

impl Imported {
    /// How much there was to do.
    pub fn taken(&self) -> usize {
        self.steps + self.failed
    }
}

/// Passes until no import can be got on.
///
/// # Errors
/// As [`pass`].
pub async fn drain(database: &Database, settings: &Settings) -> Result<Imported> {
    let mut all = Imported::default();
    loop {
        let done = pass(database, settings).await?;
        if done.taken() == 0 {
            return Ok(all);
        }
        all.steps += done.steps;
        all.rows += done.rows;
        all.failed += done.failed;
    }
}

/// Gets one import on, for `settings.import_for` or to its end.
///
/// # Errors
/// The database is out of reach or in trouble. What was taken is given back, now or when its lease ends.
pub async fn pass(database: &Database, settings: &Settings) -> Result<Imported> {
    let mut done = Imported::default();
    let Some(claim) = import::claim(database, settings.lease).await? else {
        return Ok(done);
    };
    let started = Instant::now();
    let outcome = loop {
        match import::step(database, &claim, settings.lease).await {
            Ok(Step::On(rows)) => {
                done.steps += 1;
                done.rows += rows;
                if started.elapsed() >= settings.import_for {
                    break Ok(());
                }
            }
            Ok(Step::Done) => {
                done.steps += 1;
                break Ok(());
            }
            Err(error) => break Err(error),
        }
    };
    tracing::info!(
        import.id = %claim.id,
        import.rows = done.rows,
        elapsed.milliseconds = started.elapsed().as_secs_f64() * 1e3,
        "worker.imported"
    );
    end(database, &claim, outcome, &mut done).await?;
    Ok(done)
}

/// Gives the import back, or notes why it did not get on.
async fn end(
    database: &Database,
    claim: &Claim,
    outcome: Result<()>,
    done: &mut Imported,
) -> Result<()> {
    match outcome {
        Ok(()) => import::release(database, claim).await,
        // Another has it.
        Err(Error::Stale) => Ok(()),
        Err(
            error @ (Error::Unavailable(_) | Error::Refused(_) | Error::Contended | Error::Moved),
        ) => {
            import::rest(database, claim, &error.to_string()).await?;
            Err(error)
        }
        Err(error) => {
            done.failed += 1;
            tracing::error!(import.id = %claim.id, error.cause = %error, attempts = claim.attempts, "worker.import.failed");
            import::fail(database, claim, &error.to_string()).await
        }
    }
}
