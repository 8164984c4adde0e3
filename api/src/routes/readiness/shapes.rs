//! The shapes of the answers, for the document: they are put together from text and never pass through these types.

use jiff::Timestamp;
use rimeyard_rules::depot::DepotDocument;
use rimeyard_rules::unit::UnitDocument;
use serde::Serialize;
use utoipa::ToSchema;

use crate::extract::Cursor;

/// Depots' readiness, one page.
#[derive(Serialize, ToSchema)]
pub struct DistrictReadiness {
    /// As of when the oldest of the depots was computed; null where none ever was.
    as_of: Option<Timestamp>,
    /// The depots.
    depots: Vec<DepotReadiness>,
    /// Give it as `cursor` to get the next page; null on the last one.
    #[schema(inline)]
    next_cursor: Option<Cursor>,
}

/// A depot's readiness. While a depot is new and has never been computed, what is computed is null and `because` says
/// so.
#[derive(Serialize, ToSchema)]
pub struct DepotReadiness {
    /// As of when it was computed.
    as_of: Option<Timestamp>,
    /// Until when it holds, if no fact changes.
    valid_until: Option<Timestamp>,
    #[serde(flatten)]
    document: DepotDocument,
}

/// A depot's readiness with that of its machines.
#[derive(Serialize, ToSchema)]
pub struct DepotWithMachines {
    #[serde(flatten)]
    depot: DepotReadiness,
    /// Its machines, by unit id; their counts stay in `units`.
    machines: Vec<UnitReadiness>,
}

/// A unit's readiness. While a unit is new and has never been computed, what is computed is null and `because` says so.
#[derive(Serialize, ToSchema)]
pub struct UnitReadiness {
    /// As of when it was computed.
    as_of: Option<Timestamp>,
    /// Until when it holds, if no fact changes.
    valid_until: Option<Timestamp>,
    #[serde(flatten)]
    document: UnitDocument,
}

/// A unit's readiness with what it was computed from.
#[derive(Serialize, ToSchema)]
pub struct UnitWithInputs {
    #[serde(flatten)]
    unit: UnitReadiness,
    /// The input of `POST /v1/calculations/unit` that gives these figures; null while it has never been computed.
    inputs: Option<serde_json::Value>,
}
