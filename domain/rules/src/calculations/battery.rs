//! `battery`: charge and freezing point of a wet lead-acid battery.

use serde::{Deserialize, Serialize};

use super::between;
use crate::Invalid;
use crate::battery::{FullCharge, charge, corrected_gravity, freezes_at_c, gravity_from_volts};

/// What is asked: a gravity or volts, one of the two.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = BatteryInput))]
pub struct Input {
    /// Specific gravity as the hydrometer shows it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub specific_gravity: Option<f64>,
    /// Open-circuit volts of a 12 V battery at rest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub volts: Option<f64>,
    /// Temperature of the acid.
    pub temperature_c: f64,
    /// Gravity of the battery fully charged: 1.265 or 1.280.
    pub full_charge: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = BatteryOutput))]
pub struct Output {
    /// Gravity at 80 degF; from volts as the table has it, uncorrected.
    pub corrected_gravity: f64,
    /// Charge, 0 to 1.
    pub charge: f64,
    /// Where it freezes, degC.
    pub freezes_at_c: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    between("temperature_c", input.temperature_c, -90.0, 90.0)?;
    let Some(full) = FullCharge::from_gravity(input.full_charge) else {
        return Err(Invalid::new(
            "full_charge",
            format!(
                "{} is no basis known; give the battery's gravity when full, 1.265 or 1.280",
                input.full_charge
            ),
        ));
    };
    let gravity = match (input.specific_gravity, input.volts) {
        (Some(gravity), None) => {
            between("specific_gravity", gravity, 1.0, 1.4)?;
            corrected_gravity(gravity, input.temperature_c)
        }
        (None, Some(volts)) => {
            between("volts", volts, 0.0, 16.0)?;
            gravity_from_volts(volts, full)
        }
        (Some(_), Some(_)) => {
            return Err(Invalid::new(
                "volts",
                "is given beside specific_gravity; give one of the two, gravity where it is known",
            ));
        }
        (None, None) => {
            return Err(Invalid::new(
                "specific_gravity",
                "is absent, and volts too; give one of the two",
            ));
        }
    };
    Ok(Output {
        corrected_gravity: gravity,
        charge: charge(gravity, full),
        freezes_at_c: freezes_at_c(gravity),
    })
}
