//! `life-fit`: the Weibull distribution that lives have by themselves, without a prior.

use serde::{Deserialize, Serialize};

use super::life::{HistoryInput, histories};
use super::{list, not_negative};
use crate::Invalid;
use crate::life::FoundFailed;
use crate::life::fit::fit;

pub use crate::life::fit::WeibullFit as Output;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeFitInput))]
pub struct Input {
    /// Lives that ended at a known age, or have not ended.
    pub histories: Vec<HistoryInput>,
    /// Lives that ended somewhere between two ages; none if absent.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub found_failed: Vec<FoundFailedInput>,
}

/// A part that was found failed at an inspection.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FoundFailed))]
pub struct FoundFailedInput {
    /// Age when it came under observation.
    pub entry: f64,
    /// Age when it was last known sound; `entry` if it was not looked at since.
    pub sound: f64,
    /// Age when it was found failed.
    pub found: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be, or why the lives have no fit.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    let dated = histories(&input.histories)?;
    if let Some(index) = dated
        .iter()
        .position(|life| life.failed && life.exit <= 0.0)
    {
        return Err(Invalid::new(
            format!("histories[{index}].exit"),
            "is 0, where a Weibull life cannot end; give the age at which it failed, or leave out what was dead on arrival",
        ));
    }
    list("found_failed", &input.found_failed)?;
    let mut found_failed = Vec::with_capacity(input.found_failed.len());
    for (index, life) in input.found_failed.iter().enumerate() {
        let at = |fault: Invalid| fault.within(&format!("found_failed[{index}]"));
        not_negative("entry", life.entry).map_err(at)?;
        not_negative("sound", life.sound).map_err(at)?;
        not_negative("found", life.found).map_err(at)?;
        if life.sound < life.entry {
            let problem = format!(
                "{} is before entry, {}; give the last age at which it was known sound, at least the age at entry",
                life.sound, life.entry
            );
            return Err(at(Invalid::new("sound", problem)));
        }
        if life.found <= life.sound {
            let problem = format!(
                "{} is not over sound, {}; give the age at which it was found failed, or give it among histories if that \
                 is when it failed",
                life.found, life.sound
            );
            return Err(at(Invalid::new("found", problem)));
        }
        found_failed.push(FoundFailed {
            entry: life.entry,
            sound: life.sound,
            found: life.found,
        });
    }
    fit(&dated, &found_failed).map_err(|unfit| Invalid::new("histories", unfit.to_string()))
}
