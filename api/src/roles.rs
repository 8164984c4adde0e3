//! Who may call an operation. Each operation names one of these lists, once, in its `x-roles` extension: the document
//! shows it and [`guard`](crate::guard) enforces what the document shows, so the two cannot differ. Where within the
//! organisation a person may read and write is not said here: every finder narrows by the depots granted.

use rimeyard_store::Role::{
    self, Administrator, DepotLead, DepotSystem, DistrictManager, Operator, Technician,
};
use serde::{Serialize, Serializer};

/// A list of roles.
#[derive(Debug, Clone, Copy)]
pub struct Roles(pub &'static [Role]);

/// Everyone who is signed in.
pub const EVERYONE: Roles = Roles(&Role::ALL);
/// Who sets the organisation up: people, models, checklists.
pub const ADMINISTRATORS: Roles = Roles(&[Administrator]);
/// Who answers for the district: depots and their duties.
pub const DISTRICT: Roles = Roles(&[DistrictManager, Administrator]);
/// Who leads a depot, or the district: new units, storms, limited use.
pub const LEADS: Roles = Roles(&[DepotLead, DistrictManager, Administrator]);
/// Who says what was found on a machine: inspections.
pub const INSPECTORS: Roles = Roles(&[Technician, DepotLead, Administrator]);
/// Who says what the meter shows and whether a machine started: whoever walks behind it, and the depot's own program.
pub const METER_READERS: Roles =
    Roles(&[Technician, Operator, DepotLead, DepotSystem, Administrator]);
/// Who says how much snow fell: those who lead, and the depot's own program.
pub const OBSERVERS: Roles = Roles(&[DepotLead, DistrictManager, DepotSystem, Administrator]);
/// Who works on machines with tools: parts, lifting holds, changes of units.
pub const MECHANICS: Roles = Roles(&Role::MECHANICS);
/// Everyone who may stop a machine: hold tags.
pub const PEOPLE: Roles = Roles(&[
    Technician,
    Operator,
    DepotLead,
    DistrictManager,
    Administrator,
]);

impl Serialize for Roles {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq(self.0.iter().map(|role| role.as_str()))
    }
}
