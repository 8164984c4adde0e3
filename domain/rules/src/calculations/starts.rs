//! `starts`: whether a machine starts that stood so many days.

use serde::{Deserialize, Serialize};

use super::{chance, not_negative, one, positive, shape};
use crate::Invalid;
use crate::start::StartRate;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StartsInput))]
pub struct Input {
    /// Shape of the Gamma distribution of the rate of going dead.
    pub alpha: f64,
    /// Its rate parameter.
    pub beta: f64,
    /// Days since its last proven run.
    pub days: f64,
    /// Power of the days; 1 if absent.
    #[serde(default = "one")]
    pub shape: f64,
    /// Chance of starting at once; 1 if absent.
    #[serde(default = "one")]
    pub at_once: f64,
    /// Factor on days^shape; 1 if absent.
    #[serde(default = "one")]
    pub factor: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StartsOutput))]
pub struct Output {
    /// P(it starts).
    pub starts: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let rate = rate(input.alpha, input.beta, input.shape, input.at_once)?;
    not_negative("days", input.days)?;
    not_negative("factor", input.factor)?;
    Ok(Output {
        starts: rate.chance(input.days, input.factor),
    })
}

/// The rate of checked figures.
pub(super) fn rate(alpha: f64, beta: f64, power: f64, at_once: f64) -> Result<StartRate, Invalid> {
    positive("alpha", alpha)?;
    positive("beta", beta)?;
    shape("shape", power)?;
    chance("at_once", at_once)?;
    Ok(StartRate {
        alpha,
        beta,
        shape: power,
        at_once,
    })
}
