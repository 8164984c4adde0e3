//! `needed-rate`: the rate of work a storm asks for.

use serde::{Deserialize, Serialize};

use super::{list, not_negative, positive};
use crate::Invalid;
use crate::demand::{DutyDemand, by_deadline, cycles, needed_rate};
use crate::sheet::RateUnit;

/// Cycles times different deadlines at most.
const DEADLINES_MAX: u64 = 1_000_000;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = NeededRateInput))]
pub struct Input {
    /// How long it snows.
    pub storm_hours: f64,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// The ground, possibly none.
    pub duties: Vec<DutyInput>,
}

/// Ground to be cleared, or spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = NeededRateDuty))]
pub struct DutyInput {
    /// Area, m2.
    pub area_m2: f64,
    /// Within how many hours it must be clear, or spread.
    pub clear_within_h: f64,
    /// Of spreading: material to put down each time, g/m2. Of all duties, or of none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dose_g_m2: Option<f64>,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = NeededRateOutput))]
pub struct Output {
    /// Rate at which every duty is done in time, in `rate_unit`.
    pub needed_rate: f64,
    /// What it is counted in: m2/h of ground, kg/h of material where duties have a dose.
    pub rate_unit: RateUnit,
    /// How often everything is cleared.
    pub cycles: u32,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    positive("storm_hours", input.storm_hours)?;
    not_negative("depth_mm", input.depth_mm)?;
    positive("reclear_mm", input.reclear_mm)?;
    list("duties", &input.duties)?;
    let mut duties = Vec::with_capacity(input.duties.len());
    for (index, duty) in input.duties.iter().enumerate() {
        not_negative(format_args!("duties[{index}].area_m2"), duty.area_m2)?;
        positive(
            format_args!("duties[{index}].clear_within_h"),
            duty.clear_within_h,
        )?;
        let dose_g_m2 = duty.dose_g_m2;
        if dose_g_m2.is_some() != input.duties[0].dose_g_m2.is_some() {
            return Err(Invalid::new(
                format!("duties[{index}].dose_g_m2"),
                "must be of all duties or of none: square metres and kilograms do not add up; ask for spreading by itself",
            ));
        }
        if let Some(dose_g_m2) = dose_g_m2 {
            not_negative(format_args!("duties[{index}].dose_g_m2"), dose_g_m2)?;
        }
        duties.push(DutyDemand {
            amount: duty.area_m2 * dose_g_m2.map_or(1.0, |dose_g_m2| dose_g_m2 / 1000.0),
            clear_within_h: duty.clear_within_h,
        });
    }
    let cycles = u64::from(cycles(input.depth_mm, input.reclear_mm));
    if cycles * (by_deadline(&duties).len() as u64).max(1) > DEADLINES_MAX {
        return Err(Invalid::new(
            "reclear_mm",
            format!(
                "makes {cycles} cycles of all duties, more than can be computed; give a deeper re-clear depth or fewer duties"
            ),
        ));
    }
    let demand = needed_rate(input.storm_hours, input.depth_mm, input.reclear_mm, &duties);
    Ok(Output {
        needed_rate: demand.needed_rate,
        rate_unit: match input.duties.first().and_then(|duty| duty.dose_g_m2) {
            Some(_) => RateUnit::Material,
            None => RateUnit::Ground,
        },
        cycles: demand.cycles,
    })
}
