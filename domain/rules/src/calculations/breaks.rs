//! `breaks`: whether the spare shear fasteners carried are enough.

use serde::{Deserialize, Serialize};

use super::{not_negative, positive, whole};
use crate::Invalid;
use crate::life::breaks_enough;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = BreaksInput))]
pub struct Input {
    /// Shape of the Gamma distribution of breaks an hour: breaks it is worth.
    pub alpha: f64,
    /// Its rate parameter: running hours it is worth.
    pub beta: f64,
    /// Running hours to come.
    pub hours: f64,
    /// Matching spares carried, whole.
    pub spares: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = BreaksOutput))]
pub struct Output {
    /// P(breaks <= spares).
    pub enough: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    positive("alpha", input.alpha)?;
    positive("beta", input.beta)?;
    not_negative("hours", input.hours)?;
    let spares = whole("spares", input.spares, 1_000_000)?;
    Ok(Output {
        enough: breaks_enough(input.alpha, input.beta, input.hours, spares),
    })
}
