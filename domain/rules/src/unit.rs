//! One unit's chain (sections 3 to 7): its hours, its parts, its start, and where it stands for a storm.

use jiff::{Timestamp, civil::Date};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::because::{Reason, chance_rounded, day, odds};
use crate::calculations;
use crate::due::State;
use crate::facts::{DepotFacts, Duty, FindingFacts, LatestReading, UnitFacts};
use crate::life::breaks_enough;
use crate::sheet::{Effect, RateUnit, Work};
use crate::snow_days::{FixedSeason, OnRecord, SnowDays};
use crate::snowfall::{past_winters, this_winter};
use crate::spares::BreakRate;
use crate::storm::Storm;

pub mod clock;
pub mod going_dead;
pub mod model;
pub(crate) mod open;
pub mod parts;
pub mod proof;
mod rating;
pub mod standing;
pub mod tasks;

use clock::UnitClock;
use model::{Model, NODES};
use open::{held, limited, stopped};
use parts::{PartState, Running};
use proof::{Proof, Start, unproven};
pub use rating::rate;
use standing::{Factor, Figure, Floors, Status};
use tasks::{TaskState, tasks};

/// What all units of a depot share in one evaluation.
#[derive(Debug, Clone)]
pub struct Shared<'a> {
    /// The depot.
    pub facts: &'a DepotFacts,
    /// The instant that is evaluated.
    pub as_of: Timestamp,
    /// The depot's civil date then.
    pub today: Date,
    /// Its days of use.
    pub snow_days: SnowDays,
    /// The storm to meet.
    pub storm: Storm,
    /// The least dose that its spreading duties ask for, g/m2.
    pub least_dose_g_m2: Option<f64>,
}

impl<'a> Shared<'a> {
    /// What the units of a depot share at `as_of`, for the storm that its readiness is about.
    pub fn of(facts: &'a DepotFacts, as_of: Timestamp) -> Self {
        let today = facts.zone.to_datetime(as_of).date();
        Self::meeting(Storm::of(facts, as_of, today), facts, as_of)
    }

    /// The same for another storm.
    pub fn meeting(storm: Storm, facts: &'a DepotFacts, as_of: Timestamp) -> Self {
        let today = facts.zone.to_datetime(as_of).date();
        let fixed = FixedSeason {
            starts: facts.season_starts,
            ends: facts.season_ends,
            snow_days: facts.typical_snow_days,
        };
        let winters = past_winters(&facts.snowfall, facts.snow_day_mm, today);
        let this_winter = this_winter(&facts.snowfall, facts.snow_day_mm, today);
        let record = OnRecord {
            winters: &winters,
            this_winter: this_winter.as_deref(),
        };
        let snow_days = SnowDays::new(today, fixed, record);
        let doses = facts.duties.iter().filter_map(Duty::dose);
        Shared {
            facts,
            as_of,
            today,
            snow_days,
            storm,
            least_dose_g_m2: doses.min_by(f64::total_cmp),
        }
    }
}

/// A unit's readiness as published; `as_of` and `valid_until` are put beside it by whoever answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitDocument {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its depot.
    pub depot_id: Uuid,
    /// Where it stands.
    pub status: Status,
    /// The chance that it gets through the storm, to 0.01.
    #[cfg_attr(feature = "schema", schema(nullable))]
    pub chance: f64,
    /// Its rate in the work it is rigged for, open findings in it, in `rate_unit`: whole tens of m2/h, quarters of a kg/h.
    #[cfg_attr(feature = "schema", schema(nullable))]
    pub rate: f64,
    /// What its rate is counted in.
    #[cfg_attr(feature = "schema", schema(nullable))]
    #[serde(default)]
    pub rate_unit: RateUnit,
    /// Its standing in a sentence.
    pub summary: String,
    /// Why, worst first.
    pub because: Vec<Reason>,
    /// What proves it.
    pub proof: Proof,
    /// What it is rigged for.
    #[cfg_attr(feature = "schema", schema(nullable))]
    pub work: Work,
    /// Where it is, if not at its depot.
    pub away: Option<String>,
    /// Whether its chance counts in the depot's score.
    pub counts: bool,
    /// Hours on its meter: the last trusted reading.
    pub meter_hours: Option<f64>,
    /// Findings open.
    pub findings: Vec<OpenFinding>,
    /// Its parts and what to do about them, most urgent first.
    pub parts: Vec<PartState>,
    /// Its sheet's tasks and when they are due, most urgent first.
    #[serde(default)]
    pub tasks: Vec<TaskState>,
}

/// A finding as a unit's readiness shows it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OpenFinding {
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

impl OpenFinding {
    fn of(finding: &FindingFacts) -> Self {
        OpenFinding {
            id: finding.id,
            check: finding.check.clone(),
            effect: finding.effect,
            text: finding.text.clone(),
            opened_at: finding.opened_at,
        }
    }
}

/// A unit's computed state.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitState {
    /// The unit.
    pub unit_id: Uuid,
    /// What is published.
    pub document: UnitDocument,
    /// What it was computed from: the `unit` calculation's input, unrounded.
    pub inputs: standing::Input,
    /// Its chance at each node of the shared doubt about start rates, unrounded; held, stopped and the like aside.
    pub(crate) works: [f64; NODES],
}

/// Whether a unit can work at all, before its chance is asked: a depot's work is shared among those that can.
pub fn can_work(unit: &UnitFacts, shared: &Shared<'_>) -> bool {
    unit.away.is_none() && held(unit, shared).is_empty() && stopped(unit, shared).is_empty()
}

/// A unit for a storm of `storm_hours` running hours.
pub fn evaluate(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    model: &Model<'_>,
    storm_hours: f64,
) -> UnitState {
    let running = Running::new(shared, unit, clock, storm_hours);
    let (parts, mut factors) = running.parts(model);
    factors.extend(shear_factor(unit, model, storm_hours));
    let rest: f64 = factors.iter().map(|factor| factor.chance).product();
    let start = Start::of(shared, unit, clock, model);
    factors.insert(0, start.factor(shared, model));
    let tasks = tasks(shared, unit, clock, model.sheet, &running);
    let mut missing = unproven(unit, clock, shared);
    missing.extend(safety_overdue(&tasks));
    let settings = &shared.facts.settings;
    let inputs = standing::Input {
        held: held(unit, shared),
        stopped: stopped(unit, shared),
        limited: limited(unit, shared),
        unproven: missing,
        away: unit
            .away
            .as_ref()
            .map(|place| format!("away: {place}; it does not count at this depot")),
        factors,
        floors: Floors {
            not_ready_under: settings.not_ready_under,
            doubtful_under: settings.doubtful_under,
        },
    };
    let works = std::array::from_fn(|node| rest * start.chance_at(model, model.dead_rates[node]));
    let proof = start.proof(shared, unit, model, inputs.unproven.is_empty(), rest);
    let meter_hours = clock
        .meter_hours()
        .map(|hours| (hours * 10.0).round() / 10.0);
    state(
        shared,
        unit,
        inputs,
        works,
        proof,
        meter_hours,
        (parts, tasks),
    )
}

/// A unit whose model has no sheet: nothing can be said of it, so it does not work.
pub fn without_a_sheet(shared: &Shared<'_>, unit: &UnitFacts) -> UnitState {
    let text = "its model has no sheet: enter one".to_owned();
    let inputs = standing::Input {
        stopped: vec![text],
        ..standing::Input::default()
    };
    let proof = Proof {
        started_at: None,
        inspected_at: None,
        by: None,
        runs_out_at: None,
    };
    let nothing = (Vec::new(), Vec::new());
    state(shared, unit, inputs, [0.0; NODES], proof, None, nothing)
}

fn state(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    inputs: standing::Input,
    works: [f64; NODES],
    proof: Proof,
    meter_hours: Option<f64>,
    (parts, tasks): (Vec<PartState>, Vec<TaskState>),
) -> UnitState {
    let because = inputs.because();
    let status = inputs.status();
    let chance = chance_rounded(inputs.chance());
    let document = UnitDocument {
        unit_id: unit.id,
        tag: unit.tag.clone(),
        depot_id: shared.facts.id,
        status,
        chance,
        rate: rate(unit, shared),
        rate_unit: unit.rigging.rate_unit(),
        summary: summary(&inputs, status, chance, &because, &shared.storm.name),
        because,
        proof,
        work: unit.rigging,
        away: unit.away.clone(),
        counts: inputs.counts(false),
        meter_hours,
        findings: unit.findings.iter().map(OpenFinding::of).collect(),
        parts,
        tasks,
    };
    UnitState {
        unit_id: unit.id,
        document,
        inputs,
        works,
    }
}

/// Safety tasks overdue: what they would show is not known.
fn safety_overdue(tasks: &[TaskState]) -> impl Iterator<Item = String> {
    let overdue = tasks
        .iter()
        .filter(|task| task.safety && task.state >= State::Overdue);
    overdue.map(|task| match task.on {
        Some(on) => format!("safety task overdue since {}: {}", day(on), task.title),
        None => format!("safety task overdue: {}", task.title),
    })
}

/// Enough matching spare shear fasteners aboard for the breaks of a storm.
fn shear_factor(unit: &UnitFacts, model: &Model<'_>, storm_hours: f64) -> Option<Factor> {
    let shear = model.sheet.shear_fasteners.as_ref()?;
    if !model
        .sheet
        .check_concerns(&shear.fitted_check, unit.rigging)
    {
        return None;
    }
    let counted = latest(unit, &shear.spares_check).and_then(|reading| reading.value);
    let spares = counted.map_or(shear.carried.value, |count| count.clamp(0.0, 1e6) as u32);
    let BreakRate { alpha, beta } = model.break_rate(shear);
    let chance = breaks_enough(alpha, beta, storm_hours, spares);
    let aboard = if counted.is_some() {
        "counted aboard"
    } else {
        "taken to be aboard, not counted"
    };
    Some(Factor {
        factor: "shear fasteners".to_owned(),
        chance,
        text: format!(
            "{spares} spare shear fasteners {aboard}: {} that they are enough for this storm",
            odds(chance)
        ),
        figure: Some(Figure::Breaks(calculations::breaks::Input {
            alpha,
            beta,
            hours: storm_hours,
            spares: f64::from(spares),
        })),
    })
}

/// A unit's newest reading of a check.
fn latest<'u>(unit: &'u UnitFacts, check: &str) -> Option<&'u LatestReading> {
    unit.latest.iter().find(|reading| reading.check == check)
}

fn summary(
    inputs: &standing::Input,
    status: Status,
    chance: f64,
    because: &[Reason],
    storm: &str,
) -> String {
    let worst = || {
        because
            .iter()
            .find(|reason| reason.chance < 1.0)
            .or(because.first())
            .map_or("", |reason| reason.text.as_str())
    };
    match status {
        Status::Held => format!("Held: {}", inputs.held.join("; ")),
        Status::Stopped => format!("Stopped: {}", inputs.stopped.join("; ")),
        Status::Limited => format!(
            "Limited: {}",
            inputs
                .limited
                .as_ref()
                .map_or("", |limited| limited.text.as_str())
        ),
        Status::Unproven => format!("Unproven: {}", inputs.unproven.join("; ")),
        Status::NotReady => format!("Not ready for {storm}, {}: {}", odds(chance), worst()),
        Status::Doubtful => format!("Doubtful for {storm}, {}: {}", odds(chance), worst()),
        Status::Ready => format!("Ready for {storm}: {} to get through it", odds(chance)),
    }
}
