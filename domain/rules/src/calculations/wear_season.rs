//! `wear-season`: whether a measured part sees out the days of use to come.

use serde::{Deserialize, Serialize};

use super::running_hours::usage;
use super::wear::{Prior, Reading, path};
use super::{DAYS_MAX, between, list, not_negative, number};
use crate::Invalid;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearSeasonInput))]
pub struct Input {
    /// What is known before any reading.
    pub prior: Prior,
    /// Readings, in any order, possibly none.
    pub readings: Vec<Reading>,
    /// The value that must not be reached.
    pub limit: f64,
    /// Running hours since fitting, now.
    pub from_hours: f64,
    /// The machine's use.
    pub usage: UsageInput,
    /// Days of use to come, each as likely as another.
    pub scenarios: Vec<f64>,
    /// Whether the value grows as the part wears; it falls otherwise.
    #[serde(default)]
    pub grows: bool,
}

/// How a machine is used.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearSeasonUsage))]
pub struct UsageInput {
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
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearSeasonOutput))]
pub struct Output {
    /// Unconditional P(the limit is not reached on the days to come).
    pub lasts: f64,
    /// Running hours to come until the limit is reached with chance 0.1: 0 if past, none if it never comes to that.
    pub hours_p10: Option<f64>,
    /// With chance 0.5.
    pub hours_p50: Option<f64>,
    /// With chance 0.9.
    pub hours_p90: Option<f64>,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let path = path(&input.prior, &input.readings, input.grows)?;
    number("limit", input.limit)?;
    not_negative("from_hours", input.from_hours)?;
    let given = &input.usage;
    let usage = usage(
        given.shape,
        given.prior_days,
        given.prior_hours_per_day,
        given.run_hours,
        given.snow_days,
    )
    .map_err(|fault| fault.within("usage"))?;
    list("scenarios", &input.scenarios)?;
    if input.scenarios.is_empty() {
        let problem =
            "is empty; give the days of use of at least one scenario, 0 if none are to come";
        return Err(Invalid::new("scenarios", problem));
    }
    for (index, days) in input.scenarios.iter().enumerate() {
        between(format_args!("scenarios[{index}]"), *days, 0.0, DAYS_MAX)?;
    }
    let until = |p| path.hours_until(input.limit, input.from_hours, p);
    let table = usage.table(&input.scenarios);
    let [lasts] = path.lasts_over(input.limit, input.from_hours, &table);
    Ok(Output {
        lasts,
        hours_p10: until(0.1),
        hours_p50: until(0.5),
        hours_p90: until(0.9),
    })
}
