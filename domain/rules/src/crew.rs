//! The crew's sheet for a storm (section 13): which machines there are and how long each is run, the ground in order, the cold,
//! noise and vibration, and what can hurt. It informs and decides nothing, and says so.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::depot::{WorkInputs, evaluate_for};
use crate::facts::{DepotFacts, Duty};
use crate::sheet::{Sheet, Work};
use crate::storm::{Storm, StormFigures};
use crate::unit::standing::Status;
use crate::unit::{Shared, UnitState};

pub mod cautions;
mod cold;
pub mod noise;
pub mod vibration;
pub mod warm_up;

pub use cautions::{Caution, Situation};
pub use cold::{Cold, TemperatureFrom};
pub use noise::Noise;
pub use vibration::HandArm;

/// Said under every sheet.
const INFORMS: &str = "This sheet informs; it decides nothing. Local codes, the maker's manual and licensed practice decide: \
                       follow your agency's lockout procedure, and leave licensed work to licensed people.";

/// What a sheet is asked for.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked {
    /// The storm; else the one that the depot's readiness is about.
    pub storm_id: Option<Uuid>,
    /// Air temperature, degC; else the storm's.
    pub temperature_c: Option<f64>,
    /// Wind at 10 m height.
    pub wind_m_per_s: Option<f64>,
}

/// A crew's sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct CrewSheet {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// The storm.
    pub storm: StormFigures,
    /// Its machines by kind of work, kind and model; those that are away are left out.
    pub machines: Vec<CrewMachines>,
    /// The ground, what is owed soonest first.
    pub duties: Vec<Duty>,
    /// The cold; null while the temperature or the wind is not known.
    pub cold: Option<Cold>,
    /// What can hurt.
    pub cautions: Vec<Caution>,
    /// What is not known and where to find it.
    pub missing: Vec<String>,
    /// That the sheet informs and who decides.
    pub informs: String,
}

/// The machines of one model that are rigged for one kind of work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct CrewMachines {
    /// The kind of work.
    pub work: Work,
    /// The kind of machine.
    pub kind: String,
    /// Their model.
    pub model_id: Uuid,
    /// They, by tag.
    pub units: Vec<CrewMachine>,
    /// Operators entered for the work; null where none are.
    pub operators: Option<u32>,
    /// Running hours of each machine that goes out, and of its one operator, rounded up to a tenth; null where no duty asks
    /// for the work.
    pub running_hours: Option<f64>,
    /// What one operator hears in a day who runs one for all these hours, at most 24; null where the sheet has no level.
    pub noise: Option<Noise>,
    /// What their hands take, the same.
    pub hand_arm: Option<HandArm>,
}

/// A machine.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct CrewMachine {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Where it stands for the storm. One that is held or stopped stays in.
    pub status: Status,
    /// Whether it counts for the storm.
    pub counts: bool,
}

/// How a day's exposure stands to the value from which something is to be done and to the one that is permitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Exposure {
    /// Under both.
    #[serde(rename = "under")]
    Under,
    /// At or over the first.
    #[serde(rename = "from the action value")]
    FromTheActionValue,
    /// Over the second.
    #[serde(rename = "over the limit")]
    OverTheLimit,
}

impl Exposure {
    fn of(value: f64, action: f64, limit: f64) -> Self {
        // A hair under a value is that value.
        if value > limit * (1.0 + 1e-9) {
            Exposure::OverTheLimit
        } else if value >= action * (1.0 - 1e-9) {
            Exposure::FromTheActionValue
        } else {
            Exposure::Under
        }
    }
}

/// The sheet as things stand at `as_of`; none where no such storm is in progress or to come at the depot.
pub fn sheet(facts: &DepotFacts, asked: Asked, as_of: Timestamp) -> Option<CrewSheet> {
    let shared = match asked.storm_id {
        Some(id) => Shared::meeting(Storm::with_id(facts, id, as_of)?, facts, as_of),
        None => Shared::of(facts, as_of),
    };
    let evaluated = evaluate_for(&shared, None);
    let machines = groups(facts, &evaluated.units, &evaluated.depot.inputs.works);
    let cold = Cold::of(&shared.storm, &asked);
    let mut duties = facts.duties.clone();
    duties.sort_by(|left, right| {
        let within = left.clear_within_h.total_cmp(&right.clear_within_h);
        within.then_with(|| left.name.cmp(&right.name))
    });
    Some(CrewSheet {
        depot_id: facts.id,
        name: facts.name.clone(),
        storm: shared.storm.figures(),
        cautions: cautions::cautions(&situation(facts, &machines, cold.as_ref().ok())),
        missing: missing(facts, &machines, cold.as_ref().err()),
        machines,
        duties,
        cold: cold.ok(),
        informs: INFORMS.to_owned(),
    })
}

fn groups(facts: &DepotFacts, units: &[UnitState], works: &[WorkInputs]) -> Vec<CrewMachines> {
    let mut groups: Vec<CrewMachines> = Vec::new();
    for (unit, state) in facts.units.iter().zip(units) {
        let document = &state.document;
        let Some(sheet) = facts.sheets.get(&unit.model) else {
            continue;
        };
        if document.away.is_some() {
            continue;
        }
        let same =
            |group: &CrewMachines| group.model_id == unit.model && group.work == unit.rigging;
        let place = groups.iter().position(same).unwrap_or_else(|| {
            groups.push(CrewMachines::of(sheet, unit.model, unit.rigging, works));
            groups.len() - 1
        });
        groups[place].units.push(CrewMachine {
            unit_id: unit.id,
            tag: unit.tag.clone(),
            status: document.status,
            counts: document.counts,
        });
    }
    for group in &mut groups {
        group.units.sort_by(|left, right| left.tag.cmp(&right.tag));
    }
    groups.sort_by(|left, right| {
        let key = |group: &CrewMachines| (group.work, group.kind.clone(), group.model_id);
        key(left).cmp(&key(right))
    });
    groups
}

impl CrewMachines {
    /// Those of a model, none in it yet.
    fn of(sheet: &Sheet, model_id: Uuid, work: Work, works: &[WorkInputs]) -> Self {
        let width_mm = sheet.rate_for(work).width_mm.value;
        let fits = |narrowest: Option<f64>| narrowest.is_none_or(|narrowest| width_mm <= narrowest);
        let own = works
            .iter()
            .filter(|one| one.work == work && fits(one.narrowest_width_mm));
        // A machine that passes narrow places works on wide ground too: the longer of the two counts.
        let longest = own.max_by(|left, right| left.storm_hours.total_cmp(&right.storm_hours));
        let running_hours =
            longest.map(|one| (one.storm_hours * 10.0 - 1e-6).ceil().max(0.0) / 10.0);
        let of_a_day = running_hours.map(|hours| hours.min(24.0));
        let noise = of_a_day.zip(sheet.noise_db_a.as_ref());
        let vibration = of_a_day.zip(sheet.hand_arm_m_per_s2.as_ref());
        CrewMachines {
            work,
            kind: sheet.kind.clone(),
            model_id,
            units: Vec::new(),
            operators: longest.and_then(|one| one.operators),
            running_hours,
            noise: noise.map(|(hours, level)| Noise::of(level, hours)),
            hand_arm: vibration.map(|(hours, vibration)| HandArm::of(vibration, hours)),
        }
    }

    /// Whether they have work in this storm.
    fn go_out(&self) -> bool {
        self.running_hours.is_some()
    }
}

fn has_engine(facts: &DepotFacts, group: &CrewMachines) -> bool {
    let sheet = facts.sheets.get(&group.model_id);
    sheet.is_some_and(|sheet| sheet.part("engine").is_some())
}

fn situation(facts: &DepotFacts, groups: &[CrewMachines], cold: Option<&Cold>) -> Situation {
    let mut situation = Situation {
        cold: cold.is_none_or(|cold| cold.temperature_c < 0.0),
        ..Situation::default()
    };
    for group in groups.iter().filter(|group| group.go_out()) {
        let engine = has_engine(facts, group);
        let not_under = |exposure: Option<Exposure>| match exposure {
            Some(exposure) => exposure > Exposure::Under,
            None => engine,
        };
        situation.engines |= engine;
        situation.throws |= group.work == Work::Clear && engine;
        situation.spreads |= group.work == Work::Spread;
        situation.blows |= group.work == Work::Blow;
        situation.loud |= not_under(group.noise.as_ref().map(|noise| noise.exposure));
        situation.vibrates |= not_under(group.hand_arm.as_ref().map(|hand_arm| hand_arm.exposure));
        situation.long |= group.running_hours > Some(cautions::SHIFT_H);
    }
    situation
}

fn missing(
    facts: &DepotFacts,
    groups: &[CrewMachines],
    cold: Option<&&'static str>,
) -> Vec<String> {
    let mut missing: Vec<String> = cold.iter().map(|text| (**text).to_owned()).collect();
    for group in groups.iter().filter(|group| group.go_out()) {
        // What has no engine is heard and felt little.
        if !has_engine(facts, group) {
            continue;
        }
        let lacks = [
            (group.noise.is_none(), "noise level at the ear (noise_db_a)"),
            (
                group.hand_arm.is_none(),
                "vibration at the handles (hand_arm_m_per_s2)",
            ),
        ];
        for (_, what) in lacks.iter().filter(|(lacks, _)| *lacks) {
            let first = group.units.first().map_or("", |unit| unit.tag.as_str());
            missing.push(format!(
                "The model's sheet of {} ({}) names no {what}: enter what its maker declares.",
                first, group.kind
            ));
        }
    }
    missing
}

/// Hours rounded down to a tenth; none where a day has fewer.
fn within_a_day(hours: f64) -> Option<f64> {
    (hours <= 24.0).then(|| (hours * 10.0 + 1e-6).floor() / 10.0)
}

/// To the nearest of so many parts of one.
fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}

#[cfg(test)]
mod tests;
