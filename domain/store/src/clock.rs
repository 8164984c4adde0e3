//! Instants as Postgres keeps them: to the microsecond.

use jiff::Timestamp;

/// Now.
pub(crate) fn now() -> Timestamp {
    kept(Timestamp::now())
}

/// The instant as it comes back from a table.
pub(crate) fn kept(at: Timestamp) -> Timestamp {
    Timestamp::from_microsecond(at.as_microsecond()).unwrap_or(at)
}
