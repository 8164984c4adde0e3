//! Work orders: what is to be done to a machine, by whom, with which parts, and what it took. An inspection that finds
//! something with a job puts it on the unit's order in state `found`; people open others by hand. Which state may
//! follow which, and what bars one from closing, is the rules' ([`rimeyard_rules::order`]).
//!
//! What was used is not kept here: it is what the depot's ledger has booked for the order ([`crate::stock`]).

use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::order::State;
use rimeyard_rules::sheet::Effect;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::change;
use crate::stock::Lot;

mod close;
mod create;
mod find;
mod follow;
mod lines;
mod outlook;
mod parts;
mod propose;
mod store;
mod tasks;
mod update;

pub use create::{create, scopes_of_new};
pub(crate) use find::none_open;
pub use find::{Filter, find, list};
pub(crate) use follow::{Found, follow};
pub use outlook::{Elsewhere, OrderShown, PartOutlook, shown};
pub use propose::{Proposal, ProposedLine, ProposedOrder, propose};
pub(crate) use store::touch;
pub use update::{update, update_as_of};

/// The most lines of an order.
pub const LINES_MAX: usize = 60;
/// The most different parts an order may need, and the most uses booked at once.
pub const PARTS_MAX: usize = 100;
/// The most spans of downtime of an order.
pub const DOWNTIME_MAX: usize = 100;

/// A work order as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WorkOrder {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stands; of an order that is closed or dropped, where it stood.
    pub depot_id: Uuid,
    /// Where the order stands.
    pub state: State,
    /// What it is about.
    pub title: String,
    /// What somebody noticed, of a fault that was reported.
    pub symptom: Option<String>,
    /// When it was noticed.
    pub noticed_at: Option<Timestamp>,
    /// The day it is planned for.
    pub planned_for: Option<Date>,
    /// Who is to do it: a person.
    pub assigned_to: Option<Uuid>,
    /// What it waits for, in words, while it `waits for parts`.
    pub waits_for: Option<String>,
    /// The pieces of work.
    pub lines: Vec<OrderLine>,
    /// The parts it needs in all, used ones too.
    pub needs: Vec<Need>,
    /// The parts used, as the depot's ledger has them.
    pub used: Vec<Used>,
    /// When the machine could not be had, and why.
    pub downtime: Vec<Downtime>,
    /// A word with it.
    pub note: Option<String>,
    /// Why it was dropped.
    pub drop_reason: Option<String>,
    /// The inspection that proves the repairs.
    pub proved_by: Option<Uuid>,
    /// When it was opened.
    pub opened_at: Timestamp,
    /// By whom: a person.
    pub opened_by: Uuid,
    /// When it was closed or dropped.
    pub ended_at: Option<Timestamp>,
    /// By whom: a person.
    pub ended_by: Option<Uuid>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// One piece of work of an order.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OrderLine {
    /// Its id.
    pub id: Uuid,
    /// What to do.
    pub title: String,
    /// Labour planned, minutes.
    pub minutes_planned: Option<f64>,
    /// Labour it took, minutes.
    pub minutes_worked: Option<f64>,
    /// The finding it puts right.
    pub finding_id: Option<Uuid>,
    /// What that finding is, and whether a later inspection has found it right.
    pub finding: Option<LineFinding>,
    /// The task of the sheet it does.
    pub task: Option<String>,
    /// The part of the sheet it renews.
    pub part: Option<String>,
    /// What it takes from the shelf, in the sheet's words.
    pub takes: Vec<String>,
    /// Whether it is done.
    pub done: bool,
    /// When it was done.
    pub done_at: Option<Timestamp>,
    /// Why it is not to be done after all; null while it is.
    pub taken_off: Option<String>,
}

/// The finding of a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LineFinding {
    /// The check that is unserviceable.
    pub check: String,
    /// What that does to the unit.
    pub effect: Effect,
    /// What was found, in a sentence.
    pub text: String,
    /// Since when.
    pub opened_at: Timestamp,
    /// When a later inspection found it right; null while it is open.
    pub closed_at: Option<Timestamp>,
}

/// So many of a part that an order needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Need {
    /// The part of the list.
    pub part_id: Uuid,
    /// How many, in its unit of count: 1 to 1,000,000.
    #[cfg_attr(feature = "schema", schema(minimum = 1, maximum = 1_000_000))]
    pub quantity: i64,
}

/// So many of a part, or of one lot of it, that were used for an order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Used {
    /// The part of the list.
    pub part_id: Uuid,
    /// The lot; null where the part has none.
    pub lot: Option<Lot>,
    /// How many, in its unit of count.
    pub quantity: i64,
}

/// A span in which the machine could not be had.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Downtime {
    /// From when.
    pub from: Timestamp,
    /// Until when; null while it lasts.
    #[serde(default)]
    pub to: Option<Timestamp>,
    /// Why: "waits for parts", "waits for a person", "under repair", or other words, 1 to 200 characters.
    #[cfg_attr(feature = "schema", schema(example = "waits for parts"))]
    pub reason: String,
}

/// A work order to be opened by hand. It begins in state `found`.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewWorkOrder {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The unit.
    pub unit_id: Uuid,
    /// What it is about: 1 to 200 characters; the symptom or the first line's if absent.
    pub title: Option<String>,
    /// What somebody noticed: 1 to 200 characters. An operator gives this, and of the rest `noticed_at` and `note`
    /// only. Where there are no lines it becomes one.
    pub symptom: Option<String>,
    /// When it was noticed; now if absent.
    pub noticed_at: Option<Timestamp>,
    /// The day it is planned for.
    pub planned_for: Option<Date>,
    /// Who is to do it: a person who is granted the depot.
    pub assigned_to: Option<Uuid>,
    /// The pieces of work: at most 60.
    #[serde(default)]
    pub lines: Vec<NewOrderLine>,
    /// The parts it needs: at most 100, each once. If absent, what the sheet says its lines take and the list of parts
    /// has, one of each.
    pub needs: Option<Vec<Need>>,
    /// A word with it: at most 2,000 characters.
    pub note: Option<String>,
}

/// A piece of work to be put on an order: for a finding, a task of the sheet or the renewal of a part of the sheet,
/// whose title, minutes and parts are the sheet's where they are absent; or in words only, which need a title.
#[derive(Debug, Clone, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewOrderLine {
    /// What to do: 1 to 200 characters.
    pub title: Option<String>,
    /// Labour planned, minutes, 0 to 100,000.
    pub minutes_planned: Option<f64>,
    /// An open finding of the unit that no other open order has.
    pub finding_id: Option<Uuid>,
    /// A task of the sheet, by its code.
    pub task: Option<String>,
    /// A part of the sheet to be renewed, by its code.
    pub part: Option<String>,
}

change! {
    /// What is to change of a work order: what is absent stays.
    pub struct WorkOrderChange of WorkOrder {
        /// What it is about: 1 to 200 characters.
        title: String,
        /// The day it is planned for.
        planned_for: Option<Date>,
        /// Who is to do it: a person who is granted the depot.
        assigned_to: Option<Uuid>,
        /// What it waits for, in words: 1 to 200 characters. Of an order that `waits for parts`.
        waits_for: Option<String>,
        /// All the parts it needs, used ones too, in place of what was: at most 100, each once.
        needs: Vec<Need>,
        /// All its downtime, in place of what was: at most 100 spans that do not overlap.
        downtime: Vec<Downtime>,
        /// A word with it: at most 2,000 characters.
        note: Option<String>,
        /// The inspection that proves the repairs: of this unit, made after the work, with the checks serviceable.
        proved_by: Option<Uuid>,
    } and {
        /// The state it is to be in.
        state: State,
        /// Why it is dropped: 1 to 500 characters. With state `dropped`, and only then.
        drop_reason: String,
        /// Changes of its lines; those not named stay.
        lines: Vec<OrderLineChange>,
        /// Parts taken from this depot's shelf for it now: booked as `used` in the ledger.
        uses: Vec<NewUse>,
    }
}

/// A change of a line, or a line to be added.
#[derive(Debug, Clone, Default, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct OrderLineChange {
    /// Which line; absent for one to be added.
    pub id: Option<Uuid>,
    /// What to do: 1 to 200 characters.
    pub title: Option<String>,
    /// Labour planned, minutes, 0 to 100,000.
    pub minutes_planned: Option<f64>,
    /// Labour it took, minutes, 0 to 100,000.
    pub minutes_worked: Option<f64>,
    /// Whether it is done.
    pub done: Option<bool>,
    /// When it was done; now if absent.
    pub done_at: Option<Timestamp>,
    /// Why it is not to be done after all: 1 to 500 characters; null puts it on again.
    #[serde(default, deserialize_with = "crate::change::present")]
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, required = false))]
    pub taken_off: Option<Option<String>>,
    /// Of a line to be added: an open finding of the unit that no other open order has.
    pub finding_id: Option<Uuid>,
    /// Of a line to be added: a task of the sheet, by its code.
    pub task: Option<String>,
    /// Of a line to be added: a part of the sheet to be renewed, by its code.
    pub part: Option<String>,
}

/// Parts taken from the shelf for an order.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewUse {
    /// The part of the list; a kit is used as its contents.
    pub part_id: Uuid,
    /// How many, in its unit of count: 1 to 1,000,000.
    #[cfg_attr(feature = "schema", schema(minimum = 1, maximum = 1_000_000))]
    pub quantity: i64,
    /// The lot, where the part has lots. The oldest goes first, if nothing else is said elsewhere.
    pub lot: Option<Lot>,
    /// When; now if absent.
    pub happened_at: Option<Timestamp>,
}
