//! What the store loads for one depot: everything its recomputation needs, and nothing else. No ids are resolved
//! here by any input or output: names and sheets come along.
//!
//! What the loader leaves out: corrected inspections and meter readings (the later fact that names one stands for
//! it), retired units, closed findings, lifted holds, cancelled storms. Facts flagged `suspect` count as seen; hours of a
//! time that cannot be (to come, before the machine was there) stay out of the timeline, hours that contradict others do not.
//! No fact takes effect later than its receipt, whatever the clock that dated it said.

use std::collections::BTreeMap;

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::alerts::OpenAlert;
use crate::learn::Learned;
use crate::sheet::{Effect, Sheet, Work};
use crate::snowfall::DailySnowfall;
use crate::verdict::Verdict;

mod ground;
mod month_day;

pub use ground::{Duty, Operators};
pub use month_day::MonthDay;

/// One depot and its machines.
#[derive(Debug, Clone)]
pub struct DepotFacts {
    /// The depot.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// Its civil zone; days, seasons and midnights are counted in it.
    pub zone: TimeZone,
    /// First day of its season, every year.
    pub season_starts: MonthDay,
    /// Last day of its season, every year.
    pub season_ends: MonthDay,
    /// Snow days in a typical season.
    pub typical_snow_days: u32,
    /// A day with at least so much new snow is a snow day, mm.
    pub snow_day_mm: f64,
    /// Its snowfall, day by day, each day once.
    pub snowfall: Vec<DailySnowfall>,
    /// The storm it must be able to meet, when none is named.
    pub design_storm: DesignStorm,
    /// The ground it must clear.
    pub duties: Vec<Duty>,
    /// Operators it can put out.
    pub operators: Vec<Operators>,
    /// Its storms, not cancelled: those that ended since 1 July of last winter bring tasks due, one is met or to come.
    pub storms: Vec<StormFacts>,
    /// The present sheet of each model its units are of, by model id.
    pub sheets: BTreeMap<Uuid, Sheet>,
    /// What the fleet has taught of those models, where anything has been learned that holds on the present sheet.
    pub learned: BTreeMap<Uuid, Learned>,
    /// Its units, away ones too.
    pub units: Vec<UnitFacts>,
    /// Its orders that are neither closed nor dropped.
    pub orders: Vec<OrderFacts>,
    /// What those still want of each part.
    pub wanted: Vec<WantedPart>,
    /// Its alerts that are open, in any order.
    pub alerts: Vec<OpenAlert>,
    /// Floors and thresholds.
    pub settings: Settings,
}

/// A work order that is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderFacts {
    /// It.
    pub id: Uuid,
    /// The unit it is for.
    pub unit_id: Uuid,
    /// The number on that unit's tag.
    pub tag: String,
    /// What is to be done.
    pub title: String,
    /// The day it is planned for.
    pub planned_for: Option<Date>,
    /// When it was opened.
    pub opened_at: Timestamp,
    /// The fault that somebody reported with it.
    pub fault: Option<Fault>,
}

/// What somebody noticed wrong with a machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// In their words.
    pub symptom: String,
    /// When it was noticed.
    pub at: Timestamp,
}

/// A part that open orders want.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WantedPart {
    /// The part of the list.
    pub part_id: Uuid,
    /// What it is called.
    pub title: String,
    /// How many the open orders still want.
    pub wanted: i64,
    /// For which units how many of these.
    pub by_unit: Vec<(Uuid, i64)>,
    /// How many are on the depot's shelf, on paper.
    pub on_hand: i64,
}

/// Floors of status and advice.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Under this chance a unit is not ready.
    pub not_ready_under: f64,
    /// Under this chance it is doubtful.
    pub doubtful_under: f64,
    /// A part with less than this chance to last the storm is to be renewed now.
    pub renew_now_under: f64,
    /// A part with less than this chance to last a season is to be renewed before it, or ordered.
    pub season_under: f64,
    /// A depot whose score for a storm that is coming is under this is told of.
    pub score_floor: f64,
}

impl Default for Settings {
    fn default() -> Self {
        Settings {
            not_ready_under: 0.5,
            doubtful_under: 0.9,
            renew_now_under: 0.95,
            season_under: 0.80,
            score_floor: 80.0,
        }
    }
}

/// Snow to meet: the part of a storm that readiness is computed for.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct DesignStorm {
    /// How long it snows, h.
    pub hours: f64,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3; by the temperature where absent.
    #[serde(default)]
    pub density_kg_m3: Option<f64>,
    /// Air temperature while it snows, degC.
    #[serde(default)]
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC: batteries freeze by it.
    #[serde(default)]
    pub low_c: Option<f64>,
}

impl Default for DesignStorm {
    /// What a depot starts from until it enters its own: 12 hours, 250 mm, cleared at every 50 mm, at -6 degC, down to
    /// -15 degC (district default, the order of a regional warning).
    fn default() -> Self {
        DesignStorm {
            hours: 12.0,
            depth_mm: 250.0,
            reclear_mm: 50.0,
            density_kg_m3: None,
            temperature_c: Some(-6.0),
            low_c: Some(-15.0),
        }
    }
}

/// A storm named by hand or by a notice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StormFacts {
    /// The storm.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// When snow begins.
    pub starts_at: Timestamp,
    /// When it ends.
    pub ends_at: Timestamp,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3.
    pub density_kg_m3: Option<f64>,
    /// Air temperature while it snows, degC.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC.
    pub low_c: Option<f64>,
}

/// One machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct UnitFacts {
    /// The unit.
    pub id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its model: key of `DepotFacts::sheets`.
    pub model: Uuid,
    /// The kind of work it is rigged for now.
    pub rigging: Work,
    /// Where it is, if it is not at its depot.
    pub away: Option<String>,
    /// When the agency got it.
    pub acquired_on: Option<Date>,
    /// Since when anything was kept of it: the first of its inspections, meter readings, and of the day it was entered.
    /// What failed before that left no trace.
    pub kept_since: Option<Timestamp>,
    /// Hold tags on it now.
    pub holds: Vec<HoldFacts>,
    /// Findings open now.
    pub findings: Vec<FindingFacts>,
    /// Uses under stated limits, not ended by hand; over and future ones may be among them.
    pub limited_uses: Vec<LimitedUseFacts>,
    /// Its inspections, from 1 July of last winter on, and the newest before; in any order.
    pub inspections: Vec<InspectionFacts>,
    /// Attempts to start, from meter readings and from readings of the sheet's start check, from 1 July of the last
    /// winter on, and the newest good one before, of either kind; in any order.
    pub starts: Vec<StartFacts>,
    /// What the checks that make it go dead sooner, and those that keep them, were found to be: from 1 July of last
    /// winter on, and the newest of each before; in any order. The newest of all may be missing here: it is in `latest`.
    pub start_checks: Vec<CheckFound>,
    /// Hour-meter readings, inspections' hours among them, those that contradict others too: which to believe is for the
    /// timeline. The last two years suffice, and the newest before, of either kind; all where a meter was replaced. In
    /// any order.
    pub meter: Vec<MeterFacts>,
    /// Wear paths: parts fitted now, and those that ended, whose ends teach how long such parts live; in any order.
    pub parts: Vec<FittedPartFacts>,
    /// The newest reading of each check.
    pub latest: Vec<LatestReading>,
    /// Tasks of its sheet done: said so, or shown by an inspection that answered all checks of the task and found none
    /// unserviceable. The latter from 1 July of last winter on, and the newest before; in any order.
    pub tasks_done: Vec<TaskDoneFacts>,
    /// Tasks put off, not ended by hand; those over may be among them.
    pub deferrals: Vec<DeferralFacts>,
}

/// That a task was done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TaskDoneFacts {
    /// The task on the sheet.
    pub task: String,
    /// When.
    pub at: Timestamp,
    /// Hours on the meter then, if noted.
    pub hours: Option<f64>,
}

/// That a task was put off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DeferralFacts {
    /// The deferral.
    pub id: Uuid,
    /// The task on the sheet.
    pub task: String,
    /// The last day it is put off for.
    pub until: Date,
    /// By whom: the person's name.
    pub by: String,
    /// Why.
    pub reason: String,
}

/// A hold tag.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HoldFacts {
    /// The hold.
    pub id: Uuid,
    /// Why.
    pub reason: String,
    /// When it was hung.
    pub placed_at: Timestamp,
    /// By whom: the person's name.
    pub placed_by: String,
    /// The finding it comes from, if any.
    pub finding_id: Option<Uuid>,
}

/// An open finding.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FindingFacts {
    /// The finding.
    pub id: Uuid,
    /// The check.
    pub check: String,
    /// What it does to the unit.
    pub effect: Effect,
    /// What was found.
    pub text: String,
    /// When.
    pub opened_at: Timestamp,
}

/// Use under stated limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LimitedUseFacts {
    /// It.
    pub id: Uuid,
    /// The limit and why: "day only: lamp dark".
    pub reason: String,
    /// Who stands for it: the person's name.
    pub named_by: String,
    /// From when.
    pub starts_at: Timestamp,
    /// Until when.
    pub ends_at: Timestamp,
    /// The storm the depot lead has admitted it for.
    pub admitted_storm: Option<Uuid>,
}

/// Why an inspection was made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum InspectionKind {
    /// Before the season.
    PreSeason,
    /// During it.
    InSeason,
    /// After a storm.
    AfterStorm,
    /// After a repair.
    AfterRepair,
    /// Before or during storage.
    Storage,
}

/// That an inspection was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InspectionFacts {
    /// The inspection.
    pub id: Uuid,
    /// Why it was made.
    pub kind: InspectionKind,
    /// When.
    pub at: Timestamp,
    /// By whom: the person's name.
    pub by: String,
}

/// That somebody tried to start it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StartFacts {
    /// When.
    pub at: Timestamp,
    /// Whether it started.
    pub started: bool,
    /// By whom: the person's name.
    pub by: String,
}

/// What a check was found to be, at some time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CheckFound {
    /// The check.
    pub check: String,
    /// When.
    pub at: Timestamp,
    /// What it came to.
    pub verdict: Verdict,
    /// The value, SI, of a measure.
    pub value: Option<f64>,
}

/// What its hour meter said.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct MeterFacts {
    /// When.
    pub at: Timestamp,
    /// Running hours.
    pub hours: f64,
    /// Whether a person estimated them (a dead meter).
    pub estimated: bool,
    /// Whether the meter was replaced then: these are the hours that the new one began with.
    pub meter_replaced: bool,
}

/// How a part came to be fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Fitting {
    /// It was on the machine when the machine came.
    #[serde(rename = "as delivered")]
    AsDelivered,
    /// A new part.
    #[serde(rename = "renewed")]
    Renewed,
    /// The same part turned over.
    #[serde(rename = "turned")]
    Turned,
    /// The same part adjusted.
    #[serde(rename = "adjusted")]
    Adjusted,
}

/// A part from one fitting to the next: one path of wear.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FittedPartFacts {
    /// It.
    pub id: Uuid,
    /// The part on the sheet.
    pub part: String,
    /// How it came to be fitted.
    pub how: Fitting,
    /// When, if known; unknown for most imported machines.
    pub fitted_at: Option<Timestamp>,
    /// At how many hours, if known.
    pub fitted_hours: Option<f64>,
    /// When it ended; absent while it is fitted.
    pub removed_at: Option<Timestamp>,
    /// At how many hours.
    pub removed_hours: Option<f64>,
    /// Whether it had failed when it ended.
    pub failed: Option<bool>,
    /// Of a path that ended by a failure: the last inspection on it at which the part was not found unserviceable.
    pub sound_at: Option<Timestamp>,
    /// Its measurements, in any order.
    pub readings: Vec<PathReading>,
}

/// A measurement on a path.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PathReading {
    /// The check.
    pub check: String,
    /// When.
    pub at: Timestamp,
    /// Hours on the meter then, if the inspection noted them; else taken from the meter's timeline.
    pub hours: Option<f64>,
    /// The value, SI.
    pub value: f64,
    /// Readings the value is the mean of.
    pub repeats: u32,
}

/// The newest reading of a check.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatestReading {
    /// The check.
    pub check: String,
    /// When.
    pub at: Timestamp,
    /// By whom: the person's name.
    pub by: String,
    /// What it came to.
    pub verdict: Verdict,
    /// The value, SI, of a measure.
    pub value: Option<f64>,
    /// The grade or level chosen.
    pub grade: Option<String>,
    /// Whether it worked.
    pub works: Option<bool>,
    /// The temperature it was read at, degC.
    pub temperature_c: Option<f64>,
    /// Full-charge gravity of the battery.
    pub full_charge: Option<f64>,
}
