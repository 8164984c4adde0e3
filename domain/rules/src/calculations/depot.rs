//! `depot`: the chance that a depot's machines keep up with a needed rate.

use serde::{Deserialize, Serialize};

use super::{chance, list, not_negative, whole};
use crate::Invalid;
use crate::score::{UnitChance, depot_score};

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DepotInput))]
pub struct Input {
    /// The machines, possibly none.
    pub units: Vec<UnitInput>,
    /// Rate needed, in the machines' unit: m2/h, or kg/h of spreading.
    pub needed_rate: f64,
    /// Operators, whole; absent where there are enough for all machines.
    #[serde(default)]
    pub operators: Option<f64>,
}

/// One machine.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DepotUnit))]
pub struct UnitInput {
    /// P(it works through the storm).
    pub works: f64,
    /// Its rate: m2/h, or kg/h of spreading.
    pub rate: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DepotOutput))]
pub struct Output {
    /// Score, 0 to 100, unrounded.
    pub score: f64,
    /// Lower bound of the chance.
    pub at_least: f64,
    /// Upper bound of the chance; equal where it could be computed exactly.
    pub at_most: f64,
    /// Expected shortfall of the rate, in the same unit.
    pub shortfall: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    list("units", &input.units)?;
    let mut units = Vec::with_capacity(input.units.len());
    for (index, unit) in input.units.iter().enumerate() {
        chance(format_args!("units[{index}].works"), unit.works)?;
        not_negative(format_args!("units[{index}].rate"), unit.rate)?;
        units.push(UnitChance {
            works: unit.works,
            rate: unit.rate,
        });
    }
    not_negative("needed_rate", input.needed_rate)?;
    let operators = input
        .operators
        .map(|operators| whole("operators", operators, 1_000_000))
        .transpose()?;
    let score = depot_score(&units, input.needed_rate, operators);
    Ok(Output {
        score: score.score,
        at_least: score.at_least,
        at_most: score.at_most,
        shortfall: score.shortfall,
    })
}
