//! `life`: the life of a part that is not measured.

use serde::{Deserialize, Serialize};

use super::{list, not_negative, positive, shape};
use crate::Invalid;
use crate::life::{History, Life};

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeInput))]
pub struct Input {
    /// Weibull shape.
    pub shape: f64,
    /// Weibull scale of the prior.
    pub prior_scale: f64,
    /// Failures the prior is worth.
    pub prior_weight: f64,
    /// Lives so far, possibly none.
    pub histories: Vec<HistoryInput>,
    /// Age of the part now.
    pub age: f64,
    /// How much more is asked of it.
    pub next: f64,
}

/// One part's life so far, in running hours or days like everything here.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeHistory))]
pub struct HistoryInput {
    /// Age when it came under observation.
    pub entry: f64,
    /// Age when it failed, was renewed while sound, or is now.
    pub exit: f64,
    /// Whether it failed then.
    pub failed: bool,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LifeOutput))]
pub struct Output {
    /// Shape of the Gamma distribution of scale^-shape.
    pub alpha: f64,
    /// Its rate parameter.
    pub beta: f64,
    /// P(it lasts `next` more).
    pub lasts: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    shape("shape", input.shape)?;
    positive("prior_scale", input.prior_scale)?;
    positive("prior_weight", input.prior_weight)?;
    let histories = histories(&input.histories)?;
    not_negative("age", input.age)?;
    not_negative("next", input.next)?;
    let life = Life::new(
        input.shape,
        input.prior_scale,
        input.prior_weight,
        &histories,
    );
    Ok(Output {
        alpha: life.alpha,
        beta: life.beta,
        lasts: life.lasts(input.age, input.next),
    })
}

/// Lives as given, each with its end at least its beginning.
pub(super) fn histories(given: &[HistoryInput]) -> Result<Vec<History>, Invalid> {
    list("histories", given)?;
    let mut histories = Vec::with_capacity(given.len());
    for (index, history) in given.iter().enumerate() {
        not_negative(format_args!("histories[{index}].entry"), history.entry)?;
        not_negative(format_args!("histories[{index}].exit"), history.exit)?;
        if history.exit < history.entry {
            return Err(Invalid::new(
                format!("histories[{index}].exit"),
                format!(
                    "{} is before entry, {}; give the age at the end, at least the age at entry",
                    history.exit, history.entry
                ),
            ));
        }
        histories.push(History {
            entry: history.entry,
            exit: history.exit,
            failed: history.failed,
        });
    }
    Ok(histories)
}
