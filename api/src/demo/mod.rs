//! The demo: an invented mountain transit agency with a history that looks lived in.
//!
//! [`generate`] draws it from an instant and a seed and nothing else; [`load`] puts it into a house where there is
//! nobody yet. Some machines are what they are by design and can be found by their tags: see [`cases`].
//!
//! A load that is cut short leaves an organisation that nobody can sign in to, because accounts are made last. Whoever
//! calls this sees by that ([`rimeyard_store::door::anybody`]) that it must begin afresh.

mod agency;
mod calendar;
pub mod cases;
mod catalogue;
mod draw;
mod fleet;
mod gauge;
mod ground;
mod load;
mod machine;
mod noting;
mod people;
pub mod plan;
mod present;
mod rounds;
mod shelves;
mod tasks;
mod truth;
mod weather;
mod years;

use jiff::Timestamp;
use rimeyard_store::{Database, Result};
use uuid::Uuid;

pub use agency::generate;
pub use load::load_agency;

/// The seed of the demo that everyone sees.
pub const SEED: u64 = 20;

/// Loads the demo as of `now`, and answers with its organisation. `progress` is told how far it is.
///
/// # Errors
/// Those of the store.
pub async fn load(
    database: &Database,
    now: Timestamp,
    seed: u64,
    progress: &impl Fn(&str),
) -> Result<Uuid> {
    let (agency, _truth) = generate(now, seed);
    load_agency(database, &agency, progress).await
}
