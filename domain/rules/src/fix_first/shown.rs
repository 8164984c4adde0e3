//! What is answered.

use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use super::job::{JobKind, MinutesFrom};
use crate::calculations::plan;
use crate::sheet::Work;
use crate::storm::StormName;

/// What to fix first.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct FixFirst {
    /// The depots, by id.
    pub depots: Vec<DepotToFix>,
    /// Minutes there are, for jobs and ways.
    pub minutes: f64,
    /// Where they are from.
    pub minutes_from: TimeFrom,
    /// Minutes that the jobs of `first` take, with the ways to the depots and for parts.
    pub minutes_used: f64,
    /// By how much the chances of keeping up rise, summed over depots and kinds of work; each machine by itself.
    pub gain: f64,
    /// What to do in these minutes, first first.
    pub first: Vec<JobToDo>,
    /// All else that there is to do, safety first: what waits for parts, what the minutes do not reach for, what changes no
    /// chance.
    pub behind: Vec<JobToDo>,
    /// Jobs that were left out, as there are too many.
    pub left_out: usize,
    /// The machines that something is to be done for, and when they can be ready.
    pub units: Vec<UnitToFix>,
    /// What the order comes from: the input of `POST /v1/calculations/plan`, whose `jobs` are those of `first`.
    pub inputs: plan::Input,
}

/// Where the minutes are from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum TimeFrom {
    /// They were asked for.
    Asked,
    /// The technicians' hours that are left.
    Technicians,
    /// No technicians' hours are entered and none were asked for: enough for everything.
    NotLimited,
}

/// A depot.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct DepotToFix {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// The storm that it must meet.
    pub storm: StormName,
    /// The first day on which work comes too late: the one asked for, else the storm's, else the season's first, else a week
    /// from today.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// Its score for that storm as it stands, 0 to 100.
    pub score: Option<f64>,
    /// Its kinds of work; where places are narrow, at the width at which the jobs can bring most.
    pub works: Vec<WorkToFix>,
    /// What a visit costs before any work is done, minutes there and back.
    pub travel_minutes: f64,
    /// Minutes of all that there is to do here, with the way.
    pub open_minutes: f64,
    /// Minutes of its technicians from today to the day before `until`; null where none are entered.
    pub left_minutes: Option<f64>,
    /// In a sentence.
    pub because: String,
}

/// A kind of work at a depot.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WorkToFix {
    /// The kind of work.
    pub work: Work,
    /// Its places and machines are those up to this width, mm; null: all.
    pub narrowest_width_mm: Option<f64>,
    /// The chance of keeping up as it stands, each machine by itself.
    pub chance_now: f64,
    /// The same with the jobs of `first` done.
    pub chance_after: f64,
}

/// A job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct JobToDo {
    /// Its id in the plan; the same as long as it is the same job.
    pub id: String,
    /// The machine.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its depot.
    pub depot_id: Uuid,
    /// What kind of job it is.
    pub kind: JobKind,
    /// What to do.
    pub title: String,
    /// Whether it is there for safety.
    pub safety: bool,
    /// Labour, minutes, with the way for parts.
    pub minutes: f64,
    /// Of these, the way to other depots for parts.
    pub fetch_minutes: f64,
    /// Where the labour is from.
    pub minutes_from: MinutesFrom,
    /// The parts that it takes.
    pub parts: Vec<PartToFit>,
    /// The day on which the last of them is there; null where nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub parts_on: Option<Date>,
    /// Open work orders that have it.
    pub order_ids: Vec<Uuid>,
    /// Open findings that it puts right.
    pub finding_ids: Vec<Uuid>,
    /// Tasks of the sheet that it does.
    pub tasks: Vec<String>,
    /// The factor of its machine's chance that it stands for, until it is done.
    pub now: f64,
    /// The same once it is done.
    pub after: f64,
    /// The chance of keeping up with the machine's kind of work before it, those before it in the order done; null where it is
    /// not in the plan.
    pub keeps_up_before: Option<f64>,
    /// The same once it is done.
    pub keeps_up_after: Option<f64>,
    /// Why it stands where it stands.
    pub because: String,
}

/// Where a part is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum PartAt {
    /// It was drawn for the order already, or the order does not want it.
    WithTheOrder,
    /// On the shelf here.
    Here,
    /// At another depot, some of it at least.
    AnotherDepot,
    /// At the supplier's.
    Supplier,
    /// On no list of parts: somebody goes to see whether there is one.
    Unknown,
}

/// A part of a job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct PartToFit {
    /// The part of the list; null where that has none.
    pub part_id: Option<Uuid>,
    /// Its number on the list.
    pub number: Option<String>,
    /// What it is called.
    pub name: String,
    /// How many.
    pub quantity: i64,
    /// Where it is.
    pub at: PartAt,
    /// The other depots to fetch it from.
    pub from_depot_ids: Vec<Uuid>,
    /// The day on which it is there: today what is on a shelf, else as long after as it takes to be delivered; null where
    /// nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub there_on: Option<Date>,
}

/// A machine.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitToFix {
    /// The machine.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its depot.
    pub depot_id: Uuid,
    /// Its chance to get through the storm as it counts for the depot: 0 while it is held, stopped or unproven.
    pub chance_now: f64,
    /// The same with all its jobs done.
    pub chance_after: f64,
    /// The day on which the last part of what changes its chance is there; null where nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub parts_on: Option<Date>,
    /// The day on which the last of these jobs is done, by its own depot's technicians' hours, also where the order takes other
    /// depots' minutes for it; null where parts or labour do not come.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub ready_on: Option<Date>,
    /// Whether that is before `until`.
    pub in_time: bool,
    /// What keeps it from counting whatever is done here.
    pub remains: Option<String>,
}
