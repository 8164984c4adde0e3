//! `spares`: the stock to keep for a horizon.

use serde::{Deserialize, Serialize};

use super::{chance, list, not_negative, positive};
use crate::Invalid;
use crate::spares::{self, BreakRate, Stock, WinterDemand, stock};

/// Mean demand at most.
const MEAN_MAX: f64 = 1e6;

/// Hours to come over the hours that the break rate is worth, at most. Beyond it the chances lose their digits.
const HOURS_OVER_BETA_MAX: f64 = 1e6;

/// What is asked: one demand (`wear_out`, and `breaks` with its hours or none), or `winters`, with `breaks` without hours or none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SparesInput))]
pub struct Input {
    /// Chance of each fitted part to wear out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wear_out: Option<Vec<f64>>,
    /// Winters, each as likely as another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub winters: Option<Vec<WinterInput>>,
    /// Sudden breaks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breaks: Option<Breaks>,
    /// Chance with which the stock must be enough, over 0 and under 1.
    pub service_level: f64,
}

/// One winter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SparesWinter))]
pub struct WinterInput {
    /// Chance of each fitted part to wear out in it.
    pub wear_out: Vec<f64>,
    /// Running hours of all units together.
    pub hours: f64,
}

/// Sudden breaks.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SparesBreaks))]
pub struct Breaks {
    /// Shape of the Gamma distribution of breaks an hour.
    pub alpha: f64,
    /// Its rate parameter.
    pub beta: f64,
    /// Running hours of all units together; only without winters, which have their own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hours: Option<f64>,
}

/// What is answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = SparesOutput))]
pub struct Output {
    /// Least stock that is enough with that chance.
    pub stock: u64,
    /// Mean demand.
    pub mean: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    chance("service_level", input.service_level)?;
    if input.service_level <= 0.0 || input.service_level >= 1.0 {
        let problem = "must be over 0 and under 1; no stock is enough for certain";
        return Err(Invalid::new("service_level", problem));
    }
    let breaks = input.breaks;
    if let Some(breaks) = &breaks {
        positive("breaks.alpha", breaks.alpha)?;
        positive("breaks.beta", breaks.beta)?;
        if let Some(hours) = breaks.hours {
            not_negative("breaks.hours", hours)?;
        }
    }
    let rate = breaks.map(|breaks| BreakRate {
        alpha: breaks.alpha,
        beta: breaks.beta,
    });
    let demand = |wear_out: &[f64], hours: f64| WinterDemand {
        wear_out: wear_out.to_vec(),
        breaks: rate.map(|rate| spares::Breaks { rate, hours }),
    };
    let winters = match (&input.wear_out, &input.winters) {
        (Some(wear_out), None) => {
            chances("wear_out", wear_out)?;
            let hours = match breaks {
                None => 0.0,
                Some(breaks) => breaks.hours.ok_or_else(|| {
                    Invalid::new("breaks.hours", "is absent; give the running hours to come")
                })?,
            };
            vec![demand(wear_out, hours)]
        }
        (None, Some(winters)) => {
            if breaks.is_some_and(|breaks| breaks.hours.is_some()) {
                let problem = "is given beside winters, which have their own; leave it out";
                return Err(Invalid::new("breaks.hours", problem));
            }
            list("winters", winters)?;
            if winters.is_empty() {
                return Err(Invalid::new(
                    "winters",
                    "is empty; give at least one winter",
                ));
            }
            for (index, winter) in winters.iter().enumerate() {
                chances(&format!("winters[{index}].wear_out"), &winter.wear_out)?;
                not_negative(format_args!("winters[{index}].hours"), winter.hours)?;
            }
            winters
                .iter()
                .map(|winter| demand(&winter.wear_out, winter.hours))
                .collect()
        }
        (Some(_), Some(_)) => {
            let problem = "is given beside wear_out; give one of the two";
            return Err(Invalid::new("winters", problem));
        }
        (None, None) => {
            let problem = "is absent, and winters too; give one of the two";
            return Err(Invalid::new("wear_out", problem));
        }
    };
    for (index, winter) in winters.iter().enumerate() {
        let Some(breaks) = winter.breaks else { break };
        let mean = breaks.mean();
        let problem = if mean > MEAN_MAX {
            format!(
                "makes {mean} breaks in the mean, more than can be computed; check hours, alpha and beta"
            )
        } else if breaks.hours > HOURS_OVER_BETA_MAX * breaks.rate.beta {
            format!(
                "is over {HOURS_OVER_BETA_MAX} times beta: of such a rate nothing is known; check hours and beta"
            )
        } else {
            continue;
        };
        let field = match input.winters {
            Some(_) => format!("winters[{index}].hours"),
            None => "breaks.hours".to_owned(),
        };
        return Err(Invalid::new(field, problem));
    }
    let Stock { stock, mean } = stock(&winters, input.service_level);
    Ok(Output { stock, mean })
}

fn chances(field: &str, chances: &[f64]) -> Result<(), Invalid> {
    list(field, chances)?;
    for (index, value) in chances.iter().enumerate() {
        chance(format_args!("{field}[{index}]"), *value)?;
    }
    Ok(())
}
