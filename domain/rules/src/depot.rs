//! One depot for one storm (section 8): every unit's chain, the ground to be cleared, and the chance of keeping up.

use jiff::{Timestamp, ToSpan, civil::Date};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::alerts::{Signal, signals};
use crate::because::chance_rounded;
use crate::facts::{DepotFacts, UnitFacts};
use crate::sheet::RateUnit;
use crate::storm::StormName;
use crate::unit::clock::UnitClock;
use crate::unit::standing::Status;
use crate::unit::{self, Shared, UnitState, model};

mod ground;
mod owed;
mod reasons;
pub mod renew;
#[cfg(test)]
pub(crate) mod tests;
mod works;

pub use owed::{OwedTask, OwedTasks, owed};
pub use reasons::DepotReason;
pub use works::{WorkInputs, WorkState, WorkUnit};

/// A depot's readiness as published; `as_of` and `valid_until` are put beside it by whoever answers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct DepotDocument {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// The chance of keeping up with the storm, 0 to 100, whole; none where nothing is rated or there is nothing to do.
    pub score: Option<f64>,
    /// The same with unproven units at their chance: the difference is what going to look is worth.
    pub score_with_unproven: Option<f64>,
    /// The storm.
    pub storm: StormName,
    /// Rate needed for clearing and blowing together, m2/h, whole. Ground that is to be both counts in both.
    #[cfg_attr(feature = "schema", schema(nullable))]
    pub needed_rate: f64,
    /// Rate needed for spreading, kg/h, to a tenth: kilograms are not added to square metres.
    #[cfg_attr(feature = "schema", schema(nullable))]
    #[serde(default)]
    pub needed_kg_per_h: f64,
    /// How many machines stand how.
    pub units: StatusCounts,
    /// Operators entered for the work there is; none where none are.
    pub operators: Option<u32>,
    /// Why, what weighs most first.
    pub because: Vec<DepotReason>,
    /// Each kind of work by itself; the score is the product of theirs.
    pub works: Vec<WorkState>,
}

/// How many of a depot's machines stand how; machines that are away are counted apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StatusCounts {
    /// Ready.
    pub ready: u32,
    /// Doubtful.
    pub doubtful: u32,
    /// Not ready.
    pub not_ready: u32,
    /// Unproven.
    pub unproven: u32,
    /// In limited use.
    pub limited: u32,
    /// Stopped.
    pub stopped: u32,
    /// Held.
    pub held: u32,
    /// Away, however they stand.
    pub away: u32,
}

impl StatusCounts {
    fn of(units: &[UnitState]) -> Self {
        let mut counts = StatusCounts::default();
        for unit in units {
            let count = match unit.document.status {
                _ if unit.document.away.is_some() => &mut counts.away,
                Status::Ready => &mut counts.ready,
                Status::Doubtful => &mut counts.doubtful,
                Status::NotReady => &mut counts.not_ready,
                Status::Unproven => &mut counts.unproven,
                Status::Limited => &mut counts.limited,
                Status::Stopped => &mut counts.stopped,
                Status::Held => &mut counts.held,
            };
            *count += 1;
        }
        counts
    }
}

/// A depot's computed state.
#[derive(Debug, Clone, PartialEq)]
pub struct DepotState {
    /// The depot.
    pub depot_id: Uuid,
    /// What is published.
    pub document: DepotDocument,
    /// What it was computed from, unrounded.
    pub inputs: DepotInputs,
}

/// Where a depot's days of use come from (section 2).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SeasonInputs {
    /// `history`: five winters on record tell its dates; else `fixed dates`, the depot's own. As the `season` calculation
    /// says it.
    pub from: String,
    /// First day of this season: the one running, else the next to start.
    pub starts: Date,
    /// Its last day.
    pub ends: Date,
    /// Snow days of each scenario in the whole winter: of each winter on record, or typical ones.
    pub snow_days: Vec<u32>,
    /// Weekdays of this season, in every scenario.
    #[serde(default)]
    pub weekdays: u32,
}

/// What a depot's score was computed from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DepotInputs {
    /// Where its days of use come from.
    pub season: SeasonInputs,
    /// Weights of the nodes that the shared doubt about start rates is averaged over.
    pub weights: Vec<f64>,
    /// Each kind of work: at each node, its units' chances, rates, the needed rate and operators are an input of
    /// `POST /v1/calculations/depot`.
    pub works: Vec<WorkInputs>,
}

/// Everything computed for a depot.
#[derive(Debug, Clone, PartialEq)]
pub struct Evaluation {
    /// The depot.
    pub depot: DepotState,
    /// Its units, in the facts' order.
    pub units: Vec<UnitState>,
    /// What is to be told of.
    pub signals: Vec<Signal>,
    /// Until when all of it holds, unless a fact arrives: the next instant that is named, at the latest the next local
    /// midnight.
    pub valid_until: Timestamp,
}

/// Computes a depot and all its units as they stand at `as_of`. Facts later than that do not count.
pub fn evaluate(facts: &DepotFacts, as_of: Timestamp) -> Evaluation {
    evaluate_for(&Shared::of(facts, as_of), None)
}

/// The same for the storm and the facts that `shared` has. Where some of these are only supposed, `seen` are the depot's
/// units as they really are, in the same order: what is learned of starts and of parts' lives is learned from those alone.
pub(crate) fn evaluate_for(shared: &Shared<'_>, seen: Option<&[UnitFacts]>) -> Evaluation {
    let facts = shared.facts;
    let clocks = clocks_of(&facts.units, shared);
    let seen = seen.map(|units| clocks_of(units, shared));
    let models = model::models(shared, seen.as_ref().unwrap_or(&clocks));
    let works = ground::works(shared);
    let units: Vec<UnitState> = facts
        .units
        .iter()
        .zip(&clocks)
        .enumerate()
        .map(
            |(index, (unit, clock))| match (clock, models.get(&unit.model)) {
                (Some(clock), Some(model)) => {
                    let hours = storm_hours_of(shared, &works, index);
                    unit::evaluate(shared, unit, clock, model, hours)
                }
                _ => unit::without_a_sheet(shared, unit),
            },
        )
        .collect();
    let scored: Vec<works::Scored> = works.iter().map(|work| work.scored(&units)).collect();
    let depot = depot_state(shared, &works, &scored, &units);
    Evaluation {
        signals: signals(shared, &depot.document, &units),
        depot,
        valid_until: valid_until(shared),
        units,
    }
}

/// The clock of each unit; none of one whose model has no sheet.
pub(crate) fn clocks_of<'a>(
    units: &'a [UnitFacts],
    shared: &Shared<'a>,
) -> Vec<Option<UnitClock<'a>>> {
    let clock = |unit: &'a UnitFacts| {
        let sheet = shared.facts.sheets.get(&unit.model)?;
        Some(UnitClock::new(unit, sheet, shared))
    };
    units.iter().map(clock).collect()
}

/// Running hours of the machine at a place in the facts in the storm.
fn storm_hours_of(shared: &Shared<'_>, works: &[works::WorkOf<'_>], index: usize) -> f64 {
    let own = works.iter().filter(|work| work.members.contains(&index));
    let hours = own.map(|work| work.storm_hours).max_by(f64::total_cmp);
    hours.unwrap_or(shared.storm.hours)
}

/// Running hours of each machine in the storm, in the facts' order.
pub(crate) fn storm_hours(shared: &Shared<'_>) -> Vec<f64> {
    let works = ground::works(shared);
    let machines = 0..shared.facts.units.len();
    machines
        .map(|index| storm_hours_of(shared, &works, index))
        .collect()
}

fn depot_state(
    shared: &Shared<'_>,
    works: &[works::WorkOf<'_>],
    scored: &[works::Scored],
    units: &[UnitState],
) -> DepotState {
    let facts = shared.facts;
    // Without work or without a machine that has a rate there is nothing to give a chance of.
    let rated = works.iter().any(|work| !work.members.is_empty());
    let product = |score: fn(&works::Scored) -> f64| {
        rated.then(|| (scored.iter().map(score).product::<f64>() * 100.0).round())
    };
    // The widest of each kind of work holds the narrower ones.
    let widest = works.iter().enumerate().filter(|(index, work)| {
        let next = works.get(index + 1);
        next.is_none_or(|next| next.work != work.work)
    });
    let widest = widest.map(|(_, work)| work);
    let needed = |unit: RateUnit| {
        let own = widest.clone().filter(|work| work.work.rate_unit() == unit);
        unit.rounded(own.map(|work| work.needed_rate).sum())
    };
    let operators: Vec<u32> = widest.clone().filter_map(|work| work.operators).collect();
    let document = DepotDocument {
        depot_id: facts.id,
        name: facts.name.clone(),
        score: product(|work| work.score.at_least),
        score_with_unproven: product(|work| work.with_unproven),
        storm: shared.storm.named(),
        needed_rate: needed(RateUnit::Ground),
        needed_kg_per_h: needed(RateUnit::Material),
        units: StatusCounts::of(units),
        operators: (!operators.is_empty()).then(|| {
            operators
                .iter()
                .fold(0, |sum: u32, one| sum.saturating_add(*one))
        }),
        because: reasons::because(shared, works, scored, units),
        works: works
            .iter()
            .zip(scored)
            .map(|(work, scored)| work.state(scored, units))
            .collect(),
    };
    let inputs = DepotInputs {
        season: shared.snow_days.inputs(),
        weights: model::GAUSS_LEGENDRE.iter().map(|node| node.1).collect(),
        works: works.iter().map(|work| work.inputs(units)).collect(),
    };
    DepotState {
        depot_id: facts.id,
        document,
        inputs,
    }
}

/// The next instant at which something may change without a new fact: a storm's start or end, the start or end of a
/// limited use, the next local midnight (dates, seasons and days stood change then).
fn valid_until(shared: &Shared<'_>) -> Timestamp {
    let facts = shared.facts;
    let storms = facts
        .storms
        .iter()
        .flat_map(|storm| [storm.starts_at, storm.ends_at]);
    let limits = facts
        .units
        .iter()
        .flat_map(|unit| &unit.limited_uses)
        .flat_map(|one| [one.starts_at, one.ends_at]);
    let midnight = next_midnight(shared.today, facts).unwrap_or(Timestamp::MAX);
    // A clock change may put a midnight at or before the instant itself.
    let midnight = if midnight > shared.as_of {
        midnight
    } else {
        shared
            .as_of
            .saturating_add(24.hours())
            .unwrap_or(Timestamp::MAX)
    };
    storms
        .chain(limits)
        .filter(|at| *at > shared.as_of)
        .fold(midnight, Timestamp::min)
}

fn next_midnight(today: Date, facts: &DepotFacts) -> Option<Timestamp> {
    let tomorrow = today.tomorrow().ok()?;
    facts
        .zone
        .to_timestamp(tomorrow.to_datetime(jiff::civil::Time::midnight()))
        .ok()
}

/// A score as published: whole.
fn score_rounded(chance: f64) -> f64 {
    (chance_rounded(chance) * 100.0).round()
}
