//! What is computed of units and depots: written by the worker, read as readiness.
//!
//! The documents themselves are entries of the feed (`unit-state` and `depot-state`, in the depot's scope) and nothing
//! else. Beside them stand rows with what is not part of their comparison: as of when they were computed, until when
//! they hold, and the inputs of the calculation. All of a depot's rows are written in one transaction, so its units
//! are as of the same instant as itself.

use jiff::Timestamp;
use rimeyard_rules::alerts::Next;
use uuid::Uuid;

mod publish;
mod show;
mod stored;

pub use publish::{Published, publish};
pub use show::{DepotWithUnits, Shown, ShownDepot, ShownUnit, depot, depots, unit};
pub use stored::{Stored, stored};

/// What the recomputation of one depot came to.
#[derive(Debug, Clone, PartialEq)]
pub struct DepotResult {
    /// The depot.
    pub depot_id: Uuid,
    /// As of when.
    pub as_of: Timestamp,
    /// Until when it holds, if no fact changes.
    pub valid_until: Timestamp,
    /// The depot's document and its calculation's inputs.
    pub depot: Computed,
    /// The same for each of its units.
    pub units: Vec<(Uuid, Computed)>,
    /// What becomes of its alerts. They hang on what they were: not part of a comparison, but of a replay.
    pub alerts: Next,
}

/// One document as readers get it, and what it was computed from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Computed {
    /// The document: a JSON object, without `as_of` and `valid_until`.
    pub document: String,
    /// Its status, of a unit.
    pub status: String,
    /// The calculation's inputs: a JSON object.
    pub inputs: String,
    /// Its tasks as the document has them, of a unit: a JSON array.
    pub tasks: String,
    /// How urgent the worst of them is, 0 not due to 5 long overdue.
    pub owed: i16,
}
