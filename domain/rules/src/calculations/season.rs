//! `season`: when the season starts and ends, from past winters.

use serde::{Deserialize, Deserializer, Serialize};

use super::{between, list};
use crate::Invalid;
use crate::season::window;

/// Last day of a winter: 30 June of a leap year, counted from 1 July.
const DAY_MAX: f64 = 365.0;

/// What is asked. Days are counted from 1 July, day 0.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SeasonInput))]
pub struct Input {
    /// Usable past winters, possibly none.
    pub winters: Vec<WinterInput>,
    /// The depot's fixed dates, for when history does not tell.
    #[serde(default)]
    pub fixed: Option<Fixed>,
}

/// One winter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SeasonWinter))]
pub struct WinterInput {
    /// First snow day; null in a winter without snow.
    #[serde(deserialize_with = "stated")]
    #[cfg_attr(feature = "schema", schema(required = true))]
    pub first_day: Option<f64>,
    /// Last snow day; null in a winter without snow.
    #[serde(deserialize_with = "stated")]
    #[cfg_attr(feature = "schema", schema(required = true))]
    pub last_day: Option<f64>,
}

/// Null must be written: an absent field is a mistake, not a winter without snow.
fn stated<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<f64>, D::Error> {
    Option::deserialize(deserializer)
}

/// Fixed dates.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SeasonFixed))]
pub struct Fixed {
    /// First day.
    pub start_day: f64,
    /// Last day.
    pub end_day: f64,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SeasonOutput))]
pub struct Output {
    /// First day.
    pub start_day: f64,
    /// Last day.
    pub end_day: f64,
    /// How many winters were given.
    pub winters: usize,
    /// Where the days come from.
    pub from: From,
}

/// Where a season's days come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SeasonFrom))]
pub enum From {
    /// Past winters.
    #[serde(rename = "history")]
    History,
    /// The depot's fixed dates.
    #[serde(rename = "fixed dates")]
    FixedDates,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be; `fixed` where it is needed and absent.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    list("winters", &input.winters)?;
    let mut days = Vec::with_capacity(input.winters.len());
    for (index, winter) in input.winters.iter().enumerate() {
        days.push(match (winter.first_day, winter.last_day) {
            (None, None) => None,
            (Some(first), Some(last)) => {
                between(format_args!("winters[{index}].first_day"), first, 0.0, DAY_MAX)?;
                between(format_args!("winters[{index}].last_day"), last, 0.0, DAY_MAX)?;
                ordered(format_args!("winters[{index}].last_day"), first, last)?;
                Some((first, last))
            }
            (first, _) => {
                let missing = if first.is_some() { "last_day" } else { "first_day" };
                return Err(Invalid::new(
                    format!("winters[{index}].{missing}"),
                    "is null while the other is not; give both days, or null for both in a winter without snow",
                ));
            }
        });
    }
    if let Some(fixed) = &input.fixed {
        between("fixed.start_day", fixed.start_day, 0.0, DAY_MAX)?;
        between("fixed.end_day", fixed.end_day, 0.0, DAY_MAX)?;
        ordered("fixed.end_day", fixed.start_day, fixed.end_day)?;
    }
    let winters = days.len();
    if let Some((start_day, end_day)) = window(&days) {
        return Ok(Output {
            start_day,
            end_day,
            winters,
            from: From::History,
        });
    }
    let Some(fixed) = input.fixed else {
        return Err(Invalid::new(
            "fixed",
            "is needed: there are fewer than 5 winters, or too many without snow; give the depot's fixed dates",
        ));
    };
    Ok(Output {
        start_day: fixed.start_day,
        end_day: fixed.end_day,
        winters,
        from: From::FixedDates,
    })
}

fn ordered(field: impl std::fmt::Display, first: f64, last: f64) -> Result<(), Invalid> {
    if first <= last {
        return Ok(());
    }
    Err(Invalid::new(
        field.to_string(),
        format!(
            "{last} is before the first, {first}; give days of one winter, counted from 1 July"
        ),
    ))
}
