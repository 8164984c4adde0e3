//! Tables that people bring (CSV), from the first byte to the last object: kept as they came ([`receive`]), checked whole
//! and applied in pieces that only roll forward ([`step()`]). Nothing is applied while one fault is left. Each piece moves
//! the import's cursor in its own transaction, so whoever dies between or within two of them has lost and doubled
//! nothing, and any worker goes on.

mod apply;
mod check;
mod claim;
mod fault;
mod find;
mod inspections;
mod item;
mod known;
mod meter_readings;
mod parts;
pub mod receive;
mod snow;
mod step;
mod stock;
mod units;

use jiff::Timestamp;
use rimeyard_rules::table::header::Column;
use rimeyard_rules::table::{Dates, Decimal, What};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

pub use claim::{Claim, claim, fail, release, rest};
pub use fault::{Fault, RowReport, faults, rows};
pub use find::{apply, find, list};
pub use step::{Step, step};

/// The most faults of an import that are kept; beyond that they are counted only.
pub const FAULTS_MAX: i32 = 10_000;
/// The most rows of a table.
pub const ROWS_MAX: u32 = 1_000_000;
/// How many imports of one organisation may be under way at a time.
pub const UNDER_WAY_MAX: i64 = 4;

/// How far an import has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = ImportState))]
#[serde(rename_all = "snake_case")]
pub enum State {
    /// Its rows are arriving.
    Receiving,
    /// Its rows are being looked at.
    Checking,
    /// No fault was found; nothing is applied until somebody says so.
    Checked,
    /// Faults were found and nothing was applied: correct the table and send it again.
    Refused,
    /// It is being applied, piece by piece.
    Applying,
    /// All of it was applied.
    Applied,
    /// What is stored has changed since it was checked, and a row no longer fits: what was applied stands, and it goes on
    /// when it is applied again.
    Halted,
    /// Its rows never arrived whole.
    Abandoned,
}

/// An import as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Import {
    /// Its id.
    pub id: Uuid,
    /// What its rows are.
    pub what: What,
    /// How far it has come.
    pub state: State,
    /// Whether it waits to be applied once it is checked.
    pub dry_run: bool,
    /// How its dates with slashes are meant, if that was said.
    pub dates: Option<Dates>,
    /// How its numbers are written.
    pub decimal: Decimal,
    /// What its columns were understood to be.
    pub columns: Vec<Column>,
    /// Who sent it.
    pub created_by: Uuid,
    /// Who had it applied, if anybody.
    pub applied_by: Option<Uuid>,
    /// When it began to arrive.
    pub created_at: Timestamp,
    /// When it last got on.
    pub changed_at: Timestamp,
    /// When it had been checked.
    pub checked_at: Option<Timestamp>,
    /// When all of it had been applied.
    pub applied_at: Option<Timestamp>,
    /// Rows received, the header not counted.
    pub rows: i32,
    /// Rows checked.
    pub rows_checked: i32,
    /// Rows applied.
    pub rows_applied: i32,
    /// Faults found.
    pub faults: i32,
    /// The first of them, at most 20; GET /v1/imports/{import_id}/rows has up to 10,000.
    pub first_faults: Vec<Fault>,
    /// Why it was halted.
    pub halted_because: Option<String>,
}
