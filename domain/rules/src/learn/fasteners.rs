//! What ledgers of shelves say of shear fasteners that broke.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

/// What a depot's ledger says of one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Booked {
    /// How many were used after `since`: at each break one.
    pub used: u64,
    /// Since when the depot books what it uses, and has that part in its ledger.
    pub since: Timestamp,
}

/// Which parts of the list replace shear fasteners, and what is booked of them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Fasteners {
    /// The part that a break takes, by model. Models of one part share what is believed of its breaks.
    pub parts: BTreeMap<Uuid, Uuid>,
    /// What is booked, by part and depot. A depot that books nothing is missing: its machines' hours teach nothing.
    pub booked: BTreeMap<(Uuid, Uuid), Booked>,
}

impl Fasteners {
    /// The part that a break of that model takes, and what the depot has booked of it.
    pub(super) fn at(&self, depot: Uuid, model: Uuid) -> Option<(Uuid, Booked)> {
        let part = *self.parts.get(&model)?;
        Some((part, *self.booked.get(&(part, depot))?))
    }
}
