//! Inspections with their readings. Facts: never changed, corrected by a later inspection that names the one it
//! corrects. Each keeps the version of the sheet and of the checklist it was read against, so an old verdict can be
//! told from the limits of its day.

use jiff::Timestamp;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::Limits;
use rimeyard_rules::verdict::{Verdict, VerdictInput};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::finding::Finding;
use crate::hold::Hold;

mod consequences;
mod draft;
mod find;
mod insert;
mod judging;
mod known;
mod record;

pub use draft::READINGS_MAX;
pub(crate) use draft::check;
pub use find::{Filter, find, list};
pub use record::{record, record_many, scopes};

/// An inspection as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Inspection<R> {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stood when the inspection was received.
    pub depot_id: Uuid,
    /// Why it was made.
    pub kind: InspectionKind,
    /// When.
    pub performed_at: Timestamp,
    /// When it was received.
    pub received_at: Timestamp,
    /// By whom: a person.
    pub performed_by: Uuid,
    /// Running hours on the meter.
    pub run_hours: Option<f64>,
    /// The model whose sheet it was read against.
    pub model_id: Uuid,
    /// Which version of that sheet.
    pub sheet_version: i32,
    /// The checklist of the day.
    pub checklist_id: Uuid,
    /// Which version of it.
    pub checklist_version: i32,
    /// The inspection that this one corrects.
    pub corrects: Option<Uuid>,
    /// The inspection that corrects this one: then this one no longer counts.
    pub corrected_by: Option<Uuid>,
    /// A word with it.
    pub note: Option<String>,
    /// `suspect` where it contradicts other facts, with the reason beside it.
    pub flags: Vec<String>,
    /// What was read, by check.
    pub readings: Vec<R>,
    /// Its version: 2 once it is corrected.
    pub rev: i64,
}

impl<R> Inspection<R> {
    /// From when on it counts: when it was performed, and no later than its receipt, whatever a clock said.
    pub fn took_effect_at(&self) -> Timestamp {
        self.performed_at.min(self.received_at)
    }

    fn with<S>(self, readings: Vec<S>) -> Inspection<S> {
        Inspection {
            id: self.id,
            unit_id: self.unit_id,
            depot_id: self.depot_id,
            kind: self.kind,
            performed_at: self.performed_at,
            received_at: self.received_at,
            performed_by: self.performed_by,
            run_hours: self.run_hours,
            model_id: self.model_id,
            sheet_version: self.sheet_version,
            checklist_id: self.checklist_id,
            checklist_version: self.checklist_version,
            corrects: self.corrects,
            corrected_by: self.corrected_by,
            note: self.note,
            flags: self.flags,
            readings,
            rev: self.rev,
        }
    }
}

/// What was read of one check. What does not belong to its kind is absent.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Reading {
    /// The check, as on the sheet.
    pub check: String,
    /// What it came to.
    pub verdict: Verdict,
    /// What stands beside the verdict: `re-measure`, `not accepted`, `worse side`, `will freeze`, `renew before next
    /// season`.
    pub flags: Vec<String>,
    /// Of a measure: the number as entered.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Of a measure: the unit as entered.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of a measure: the number in the check's own unit (a battery's corrected gravity).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value_si: Option<f64>,
    /// The grade chosen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grade: Option<String>,
    /// Whether it worked.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub works: Option<bool>,
    /// The level chosen.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub level: Option<String>,
    /// The temperature it was read at, degC.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Of a battery: its full-charge gravity.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub full_charge: Option<f64>,
    /// Of a measure: how many readings the value is the mean of, if several.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repeats: Option<u32>,
    /// The part it was read on, from its fitting to the next.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub fitted_part_id: Option<Uuid>,
    /// A word with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A reading with what its verdict stands on.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct JudgedReading {
    /// The reading.
    #[serde(flatten)]
    pub reading: Reading,
    /// What was held against the limits, if that is another figure than `value_si`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_value: Option<f64>,
    /// The limits of its day, of a measure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// The reading and its verdict in a sentence.
    pub text: String,
    /// What POST /v1/calculations/verdict takes to come to the same verdict.
    pub inputs: VerdictInput,
}

/// An inspection just recorded, and what followed from it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Recorded {
    /// The inspection.
    #[serde(flatten)]
    pub inspection: Inspection<JudgedReading>,
    /// The findings it opened, closed or changed.
    pub findings: Vec<Finding>,
    /// The hold tags it hung; a correction may have lifted some.
    pub holds: Vec<Hold>,
    /// The work that its unserviceable checks call for.
    pub proposed_work_orders: Vec<ProposedWorkOrder>,
}

/// Work that an unserviceable check calls for, as the sheet has it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct ProposedWorkOrder {
    /// The finding that the work would put right.
    pub finding_id: Uuid,
    /// The open work order it is on; null where it was dropped, or the unit is retired.
    pub work_order_id: Option<Uuid>,
    /// The check that is unserviceable.
    pub check: String,
    /// What to do.
    pub job: String,
    /// Labour, minutes.
    pub minutes: f64,
    /// What it takes from the shelf.
    pub parts: Vec<String>,
}

/// An inspection to be recorded. It may hold any of the checks of the machine's sheet, each at most once.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewInspection {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The unit.
    pub unit_id: Uuid,
    /// Why it was made.
    pub kind: InspectionKind,
    /// When.
    pub performed_at: Timestamp,
    /// Running hours on the meter, 0 to 100,000.
    pub run_hours: Option<f64>,
    /// What was read: at most 200 readings. None takes nothing but the inspection itself back, in a correction.
    pub readings: Vec<NewReading>,
    /// A word with it: at most 2,000 characters.
    pub note: Option<String>,
    /// The inspection of the same unit that this one corrects.
    pub corrects: Option<Uuid>,
}

/// A reading to be recorded: `value` and `unit`, or `grade`, or `works`, or `level`, as the check's kind asks.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewReading {
    /// The check, as on the sheet of the machine's model.
    pub check: String,
    /// Of a measure: the number; the mean, if it was repeated.
    pub value: Option<f64>,
    /// Of a measure: its unit.
    pub unit: Option<String>,
    /// Of a grade: one of the check's grades.
    pub grade: Option<String>,
    /// Of a function: whether it works.
    pub works: Option<bool>,
    /// Of a level: one of the check's levels.
    pub level: Option<String>,
    /// Of a battery or a tyre: the temperature it was read at, degC.
    pub temperature_c: Option<f64>,
    /// The same in another unit, given as `temperature_unit`, in place of `temperature_c`.
    pub temperature: Option<f64>,
    /// degC or degF.
    pub temperature_unit: Option<String>,
    /// Of a battery: its full-charge gravity, 1.265 or 1.280.
    pub full_charge: Option<f64>,
    /// Of a measure: how many readings `value` is the mean of; 1 if absent.
    pub repeats: Option<u32>,
    /// A word with it: at most 2,000 characters.
    pub note: Option<String>,
}
