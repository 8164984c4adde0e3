//! What a depot would come to if: another storm, machines left out, machines put right, other operators. Everything else is as it
//! stands. What is supposed teaches nothing: rates and lives are learned from what really happened.

use std::collections::BTreeSet;
use std::ops::RangeInclusive;

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::Invalid;
use crate::depot::{DepotDocument, evaluate_for};
use crate::facts::{DepotFacts, Operators};
use crate::storm::{Storm, StormFigures, fresh_snow_kg_m3};
use crate::timeline::day_in;
use crate::unit::{Shared, UnitDocument};

pub(crate) mod repaired;

/// The longest storm, as of one that is entered: 14 days.
const HOURS_MAX: f64 = 336.0;
/// A storm may be supposed to have begun so long ago, or to start so far ahead.
const AGO_MAX: SignedDuration = SignedDuration::from_hours(HOURS_MAX as i64);
const AHEAD_MAX: SignedDuration = SignedDuration::from_hours(366 * 24);
/// Said of a machine that is left out, where else its place is said.
const LEFT_OUT: &str = "left out, as supposed";

/// What is supposed; what is absent is as it stands.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Supposed {
    /// What would be otherwise with the storm that the depot's readiness is about.
    #[serde(default)]
    pub storm: SupposedStorm,
    /// Machines of the depot that do not go out: still broken, lent, at a shop.
    #[serde(default)]
    pub without: Vec<Uuid>,
    /// Machines of the depot taken as here, started just now and sound: nothing open against them, what was found
    /// unserviceable or never measured taken for new, their safety tasks done.
    #[serde(default)]
    pub repaired: Vec<Uuid>,
    /// All the operators there would be, in place of those entered; at most 50.
    pub operators: Option<Vec<Operators>>,
}

/// What would be otherwise with a storm; what is absent is as it is.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct SupposedStorm {
    /// When snow begins: at most 366 days ahead; it may have begun, but not be over. The design storm, which has no time, gets one by it.
    pub starts_at: Option<Timestamp>,
    /// How long it snows, h: 0.1 to 336.
    pub hours: Option<f64>,
    /// How much falls, mm: 1 to 5000.
    pub depth_mm: Option<f64>,
    /// At how much lying snow ground is cleared again, mm: 1 to 5000.
    pub reclear_mm: Option<f64>,
    /// Density of the snow, kg/m3: 10 to 917; where absent and the temperature is given, by that.
    pub density_kg_m3: Option<f64>,
    /// Air temperature while it snows, degC: -80 to 20.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC: -80 to 20.
    pub low_c: Option<f64>,
}

/// What it would come to.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WhatIf {
    /// As of when the facts are.
    pub as_of: Timestamp,
    /// The storm that it was computed for.
    pub supposed_storm: StormFigures,
    /// The depot, as its readiness shows it.
    #[serde(flatten)]
    pub depot: DepotDocument,
    /// Its machines, by unit id; their counts stay in `units`.
    pub machines: Vec<UnitDocument>,
}

/// Computes it from the facts as they stand at `as_of`.
///
/// # Errors
/// Every field that cannot be.
pub fn what_if(
    facts: &DepotFacts,
    supposed: &Supposed,
    as_of: Timestamp,
) -> Result<WhatIf, Vec<Invalid>> {
    let real = Shared::of(facts, as_of);
    let storm = supposed.storm.applied(real.storm.clone(), facts, as_of);
    let storm = check(facts, supposed, storm)?;
    let mut changed = facts.clone();
    if let Some(operators) = &supposed.operators {
        changed.operators.clone_from(operators);
    }
    for unit in &mut changed.units {
        if supposed.without.contains(&unit.id) {
            unit.away = Some(LEFT_OUT.to_owned());
        } else if supposed.repaired.contains(&unit.id)
            && let Some(sheet) = facts.sheets.get(&unit.model)
        {
            repaired::put_right(unit, sheet, &real);
        }
    }
    let shared = Shared::meeting(storm, &changed, as_of);
    let evaluated = evaluate_for(&shared, Some(&facts.units));
    Ok(WhatIf {
        as_of,
        supposed_storm: shared.storm.figures(),
        depot: evaluated.depot.document,
        machines: evaluated
            .units
            .into_iter()
            .map(|unit| unit.document)
            .collect(),
    })
}

/// Every fault of what is supposed.
fn check(
    facts: &DepotFacts,
    supposed: &Supposed,
    storm: Result<Storm, Vec<Invalid>>,
) -> Result<Storm, Vec<Invalid>> {
    let mut faults = Vec::new();
    let known: BTreeSet<Uuid> = facts.units.iter().map(|unit| unit.id).collect();
    let mut named = BTreeSet::new();
    for (list, ids) in [
        ("without", &supposed.without),
        ("repaired", &supposed.repaired),
    ] {
        for (index, id) in ids.iter().enumerate() {
            let field = format!("{list}[{index}]");
            if !known.contains(id) {
                faults.push(Invalid::new(
                    field,
                    "is not a machine of this depot; name one of its own, by id",
                ));
            } else if !named.insert(*id) {
                faults.push(Invalid::new(
                    field,
                    "is named before; a machine is either left out or put right, and once",
                ));
            }
        }
    }
    let operators = supposed.operators.as_deref().unwrap_or_default();
    faults.extend(Operators::check(operators).err());
    match storm {
        Ok(storm) if faults.is_empty() => Ok(storm),
        Ok(_) => Err(faults),
        Err(mut of_storm) => {
            of_storm.extend(faults);
            Err(of_storm)
        }
    }
}

impl SupposedStorm {
    /// The storm with this otherwise. One of which nothing is otherwise keeps its name.
    pub(crate) fn applied(
        &self,
        real: Storm,
        facts: &DepotFacts,
        as_of: Timestamp,
    ) -> Result<Storm, Vec<Invalid>> {
        let mut faults = self.out_of_range();
        let reach = as_of - AGO_MAX..=as_of + AHEAD_MAX;
        if self.starts_at.is_some_and(|at| !reach.contains(&at)) {
            faults.push(Invalid::new(
                "storm.starts_at",
                "must be from 14 days ago to 366 days ahead; leave it out for the storm's own",
            ));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        if *self == Self::default() {
            return Ok(real);
        }
        let hours = self.hours.unwrap_or(real.hours);
        let starts_at = self.starts_at.or(real.starts_at);
        let ends_at = if self.hours.is_none() && self.starts_at.is_none() {
            real.ends_at
        } else {
            starts_at.map(|at| at + SignedDuration::from_secs_f64(hours * 3600.0))
        };
        if ends_at.is_some_and(|at| at <= as_of) {
            let field = if self.starts_at.is_some() {
                "storm.starts_at"
            } else {
                "storm.hours"
            };
            return Err(vec![Invalid::new(
                field,
                "would have the storm over by now: give more `hours`, or a later `starts_at`",
            )]);
        }
        let day = |at: Timestamp| day_in(at, &facts.zone);
        let by_temperature = self.temperature_c.map(|c| fresh_snow_kg_m3(Some(c)));
        Ok(Storm {
            name: format!("{} as supposed", real.name),
            starts_at,
            ends_at,
            first_day: starts_at.map_or(real.first_day, day),
            last_day: ends_at.map_or(real.last_day, day),
            hours,
            depth_mm: self.depth_mm.unwrap_or(real.depth_mm),
            reclear_mm: self.reclear_mm.unwrap_or(real.reclear_mm),
            density_kg_m3: self
                .density_kg_m3
                .or(by_temperature)
                .unwrap_or(real.density_kg_m3),
            temperature_c: self.temperature_c.or(real.temperature_c),
            low_c: self.low_c.or(real.low_c),
            ..real
        })
    }

    fn out_of_range(&self) -> Vec<Invalid> {
        let fields: [(&str, Option<f64>, RangeInclusive<f64>); 6] = [
            ("hours", self.hours, 0.1..=HOURS_MAX),
            ("depth_mm", self.depth_mm, 1.0..=5_000.0),
            ("reclear_mm", self.reclear_mm, 1.0..=5_000.0),
            // Up to the density of ice.
            ("density_kg_m3", self.density_kg_m3, 10.0..=917.0),
            ("temperature_c", self.temperature_c, -80.0..=20.0),
            ("low_c", self.low_c, -80.0..=20.0),
        ];
        fields
            .into_iter()
            .filter_map(|(field, value, range)| {
                let value = value.filter(|value| !range.contains(value))?;
                let (least, most) = range.into_inner();
                Some(Invalid::new(
                    format!("storm.{field}"),
                    format!("must be from {least} to {most}; it is {value}"),
                ))
            })
            .collect()
    }
}

#[cfg(test)]
mod tests;
