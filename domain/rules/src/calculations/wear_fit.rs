//! `wear-fit`: how the parts of a fleet wear, from their readings.

use serde::{Deserialize, Serialize};

use super::wear::Reading;
use super::{LIST_MAX, list, not_negative, number};
use crate::Invalid;
pub use crate::wear::fit::WearFit as Output;
use crate::wear::fit::{MeanReading, Method, fit};

/// What is asked: value = (A + a) - (B + b) hours + e, a and b normal, independent and each part's own, e the doubt of a
/// reading.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitInput))]
pub struct Input {
    /// The parts, at least two with readings; at most 10,000 readings in all.
    pub groups: Vec<Group>,
    /// `reml`, the restricted likelihood, if absent, or `ml`.
    #[serde(default)]
    pub method: Method,
    /// Whether values grow as the parts wear; they fall otherwise.
    #[serde(default)]
    pub grows: bool,
}

/// One part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitGroup))]
pub struct Group {
    /// Its readings, in any order, possibly none.
    pub readings: Vec<Reading>,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be, or why the groups have no fit.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    list("groups", &input.groups)?;
    let mut groups = Vec::with_capacity(input.groups.len());
    let mut total = 0;
    for (index, group) in input.groups.iter().enumerate() {
        list(format_args!("groups[{index}].readings"), &group.readings)?;
        total += group.readings.len();
        let mut readings = Vec::with_capacity(group.readings.len());
        for (place, reading) in group.readings.iter().enumerate() {
            let at = |fault: Invalid| fault.within(&format!("groups[{index}].readings[{place}]"));
            not_negative("hours", reading.hours).map_err(at)?;
            number("value", reading.value).map_err(at)?;
            readings.push(MeanReading {
                hours: reading.hours,
                value: reading.value,
                repeats: 1,
            });
        }
        groups.push(readings);
    }
    if total > LIST_MAX {
        let problem = format!("have {total} readings in all; give at most {LIST_MAX}");
        return Err(Invalid::new("groups", problem));
    }
    fit(&groups, input.grows, input.method)
        .map_err(|unfit| Invalid::new("groups", unfit.to_string()))
}
