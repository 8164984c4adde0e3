//! `wear`: where a measured part stands after its readings.

use serde::{Deserialize, Serialize};

use super::{list, not_negative, number, positive};
use crate::Invalid;
use crate::wear::{WearPath, WearPrior, WearReading};

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearInput))]
pub struct Input {
    /// What is known before any reading.
    pub prior: Prior,
    /// Readings, in any order, possibly none.
    pub readings: Vec<Reading>,
    /// The value that must not be reached.
    pub limit: f64,
    /// Running hours since fitting, at each of which the chance is asked.
    pub at_hours: Vec<f64>,
    /// Whether the value grows as the part wears; it falls otherwise.
    #[serde(default)]
    pub grows: bool,
}

/// A prior of wear: the value as new and the wear an hour, normal both.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearPrior))]
pub struct Prior {
    /// Mean value as new.
    pub as_new: f64,
    /// Its standard deviation.
    pub as_new_sd: f64,
    /// Mean wear an hour, positive towards the limit.
    pub rate: f64,
    /// Its standard deviation.
    pub rate_sd: f64,
    /// Standard deviation of one reading.
    pub reading_sd: f64,
}

/// One reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearReading))]
pub struct Reading {
    /// Running hours since fitting.
    pub hours: f64,
    /// The value.
    pub value: f64,
}

/// What is answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearOutput))]
pub struct Output {
    /// Posterior mean of the value as new.
    pub as_new: f64,
    /// Posterior mean of the wear an hour.
    pub rate: f64,
    /// Posterior covariance of (as_new, rate).
    pub covariance: [[f64; 2]; 2],
    /// Unconditional P(the value has not reached the limit) at each of `at_hours`.
    pub lasts: Vec<f64>,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let path = path(&input.prior, &input.readings, input.grows)?;
    number("limit", input.limit)?;
    list("at_hours", &input.at_hours)?;
    for (index, hours) in input.at_hours.iter().enumerate() {
        not_negative(format_args!("at_hours[{index}]"), *hours)?;
    }
    Ok(Output {
        as_new: path.as_new,
        rate: path.rate,
        covariance: path.covariance,
        lasts: input
            .at_hours
            .iter()
            .map(|hours| path.lasts(input.limit, *hours))
            .collect(),
    })
}

/// The path of checked readings.
pub(super) fn path(prior: &Prior, readings: &[Reading], grows: bool) -> Result<WearPath, Invalid> {
    number("prior.as_new", prior.as_new)?;
    positive("prior.as_new_sd", prior.as_new_sd)?;
    number("prior.rate", prior.rate)?;
    positive("prior.rate_sd", prior.rate_sd)?;
    positive("prior.reading_sd", prior.reading_sd)?;
    list("readings", readings)?;
    for (index, reading) in readings.iter().enumerate() {
        not_negative(format_args!("readings[{index}].hours"), reading.hours)?;
        number(format_args!("readings[{index}].value"), reading.value)?;
    }
    let readings: Vec<WearReading> = readings
        .iter()
        .map(|reading| WearReading {
            hours: reading.hours,
            value: reading.value,
        })
        .collect();
    let prior = WearPrior {
        as_new: prior.as_new,
        as_new_sd: prior.as_new_sd,
        rate: prior.rate,
        rate_sd: prior.rate_sd,
        reading_sd: prior.reading_sd,
        grows,
    };
    Ok(WearPath::new(&prior, &readings))
}
