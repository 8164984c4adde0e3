//! `wind-chill`: how cold it feels to bare skin.

use serde::{Deserialize, Serialize};

use super::between;
use crate::Invalid;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WindChillInput))]
pub struct Input {
    /// Air temperature.
    pub temperature_c: f64,
    /// Wind at 10 m height.
    pub wind_m_per_s: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WindChillOutput))]
pub struct Output {
    /// Wind chill; the air temperature itself where the formula does not hold.
    pub wind_chill_c: f64,
}

/// Metres in a statute mile, exactly.
pub(crate) const MILE_M: f64 = 1609.344;

/// Wind chill of the U.S. National Weather Service (2001), for air at most 50 degF and wind over 3 mph; elsewhere the air
/// temperature. Formula in degF and mph as published.
pub fn wind_chill_c(temperature_c: f64, wind_m_per_s: f64) -> f64 {
    let temperature_f = temperature_c * 1.8 + 32.0;
    let wind_mph = wind_m_per_s * 3600.0 / MILE_M;
    if temperature_f > 50.0 || wind_mph <= 3.0 {
        return temperature_c;
    }
    let power = wind_mph.powf(0.16);
    let chill_f = 35.74 + 0.6215 * temperature_f - 35.75 * power + 0.4275 * temperature_f * power;
    (chill_f - 32.0) / 1.8
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    between("temperature_c", input.temperature_c, -100.0, 60.0)?;
    between("wind_m_per_s", input.wind_m_per_s, 0.0, 150.0)?;
    Ok(Output {
        wind_chill_c: wind_chill_c(input.temperature_c, input.wind_m_per_s),
    })
}
