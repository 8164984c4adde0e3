//! What a worker can be told.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use jiff::Timestamp;

/// Tells the present instant.
pub type Clock = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// How a worker works.
#[derive(Clone)]
pub struct Settings {
    /// How long to wait before looking for due depots again when there were none. Together with the time of one pass, and
    /// of an import or a sweep where there is one, this is how late readiness follows a write.
    pub poll_every: Duration,
    /// How many depots one pass takes.
    pub depots_max: i64,
    /// How many depots of one organisation all workers together may hold at a time.
    pub quota: i64,
    /// For how long a depot is taken: longer than a pass ever lasts. As long as this a depot waits whose worker died.
    pub lease: Duration,
    /// For how long an import is worked on before depots have their turn.
    pub import_for: Duration,
    /// How often what has served its time is swept out.
    pub sweep_every: Duration,
    /// How often it is looked whether there is more to learn from.
    pub learn_every: Duration,
    /// What time it is. Tests move it.
    pub clock: Clock,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            poll_every: Duration::from_millis(100),
            depots_max: 8,
            quota: 32,
            lease: Duration::from_secs(60),
            import_for: Duration::from_secs(1),
            sweep_every: Duration::from_secs(60 * 60),
            learn_every: Duration::from_secs(60 * 60),
            clock: Arc::new(Timestamp::now),
        }
    }
}

impl fmt::Debug for Settings {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Settings")
            .field("poll_every", &self.poll_every)
            .field("depots_max", &self.depots_max)
            .field("quota", &self.quota)
            .field("lease", &self.lease)
            .finish_non_exhaustive()
    }
}
