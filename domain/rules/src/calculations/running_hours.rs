//! `running-hours`: how long a machine will run on so many days of use to come.

use serde::{Deserialize, Serialize};

use super::{DAYS_MAX, USE_SHAPE_MAX, between, not_negative, positive};
use crate::Invalid;
use crate::hours::{Usage, UsagePrior};

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RunningHoursInput))]
pub struct Input {
    /// Shape of the hours of one day of use.
    pub shape: f64,
    /// Days of use the prior is worth.
    pub prior_days: f64,
    /// Mean running hours on one such day.
    pub prior_hours_per_day: f64,
    /// Hours it ran.
    pub run_hours: f64,
    /// On so many days of use.
    pub snow_days: f64,
    /// Days of use to come.
    pub future_days: f64,
    /// Hours whose chance is asked.
    pub at_hours: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = RunningHoursOutput))]
pub struct Output {
    /// P(hours to come <= `at_hours`).
    pub at_most: f64,
    /// Mean hours a day of use.
    pub hours_per_day: f64,
    /// Hours to come stay under this with chance 0.1.
    pub p10: f64,
    /// With chance 0.5.
    pub p50: f64,
    /// With chance 0.9.
    pub p90: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let usage = usage(
        input.shape,
        input.prior_days,
        input.prior_hours_per_day,
        input.run_hours,
        input.snow_days,
    )?;
    between("future_days", input.future_days, 0.0, DAYS_MAX)?;
    not_negative("at_hours", input.at_hours)?;
    Ok(Output {
        at_most: usage.at_most(input.future_days, input.at_hours),
        hours_per_day: usage.hours_per_day(),
        p10: usage.quantile(input.future_days, 0.1),
        p50: usage.quantile(input.future_days, 0.5),
        p90: usage.quantile(input.future_days, 0.9),
    })
}

/// The use of checked figures.
pub(super) fn usage(
    shape: f64,
    prior_days: f64,
    prior_hours_per_day: f64,
    run_hours: f64,
    snow_days: f64,
) -> Result<Usage, Invalid> {
    positive("shape", shape)?;
    between("shape", shape, 0.0, USE_SHAPE_MAX)?;
    positive("prior_days", prior_days)?;
    between("prior_days", prior_days, 0.0, DAYS_MAX)?;
    positive("prior_hours_per_day", prior_hours_per_day)?;
    not_negative("run_hours", run_hours)?;
    between("snow_days", snow_days, 0.0, DAYS_MAX)?;
    let prior = UsagePrior {
        shape,
        prior_days,
        prior_hours_per_day,
    };
    Ok(Usage::new(&prior, run_hours, snow_days))
}
