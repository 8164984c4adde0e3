//! A reading against its check: serviceable, marginal or unserviceable, with the doubt of measurement (section 1).

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::sheet::{CheckSpec, Limits};

mod judging;
mod measuring;
#[cfg(test)]
mod tests;
mod tolerances;

pub use judging::judge;

/// What a reading comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Good.
    Serviceable,
    /// Past its marginal limit: watch it, plan its renewal.
    Marginal,
    /// Past its last limit.
    Unserviceable,
}

impl Verdict {
    /// The word, as on the wire.
    pub fn word(self) -> &'static str {
        match self {
            Verdict::Serviceable => "serviceable",
            Verdict::Marginal => "marginal",
            Verdict::Unserviceable => "unserviceable",
        }
    }
}

/// What stands beside a verdict.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Flag {
    /// Too near a limit for one reading to prove which side it is on: measure again and give the mean.
    #[serde(rename = "re-measure")]
    ReMeasure,
    /// Near its last limit and not accepted, since the check is a safety matter.
    #[serde(rename = "not accepted")]
    NotAccepted,
    /// After three readings still too near to tell: the worse side counts.
    #[serde(rename = "worse side")]
    WorseSide,
    /// The battery will freeze at the forecast low.
    #[serde(rename = "will freeze")]
    WillFreeze,
    /// Good for the rest of this season; to be renewed before the next.
    #[serde(rename = "renew before next season")]
    RenewBeforeNextSeason,
}

impl Flag {
    /// The words, as on the wire.
    pub fn words(self) -> &'static str {
        match self {
            Flag::ReMeasure => "re-measure",
            Flag::NotAccepted => "not accepted",
            Flag::WorseSide => "worse side",
            Flag::WillFreeze => "will freeze",
            Flag::RenewBeforeNextSeason => "renew before next season",
        }
    }
}

/// What a person or a phone sends for one check. Which fields belong depends on the check's kind.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct ReadingInput {
    /// The check it answers.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub check: String,
    /// Of a measure: the number (the mean, if repeated).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Of a measure: its unit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Of a grade: one of the check's grades.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub grade: Option<String>,
    /// Of a function: whether it works.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub works: Option<bool>,
    /// Of a level: one of the check's levels.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<String>,
    /// Of a battery or a tyre: the temperature it was read at, degC.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<f64>,
    /// Of a battery: its full-charge gravity, 1.265 or 1.280.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub full_charge: Option<f64>,
    /// Of a measure: how many readings `value` is the mean of; 1 if absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub repeats: Option<u32>,
    /// A word with it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// What a verdict depends on beside the reading.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Context {
    /// Forecast low, degC: for a battery.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low_c: Option<f64>,
    /// The verdict on the check named in `backed_by`, if there is one: of the same inspection, else the newest.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub backed_by: Option<Verdict>,
}

/// The `verdict` calculation's input; a stored reading shows it under `inputs`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct VerdictInput {
    /// The check, with its limits, as on the sheet.
    pub check: CheckSpec,
    /// The reading.
    pub reading: ReadingInput,
    /// What else it depends on.
    #[serde(default)]
    pub context: Context,
}

/// A reading's verdict and what it stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Judged {
    /// The verdict.
    pub verdict: Verdict,
    /// What stands beside it.
    pub flags: Vec<Flag>,
    /// The reading in SI as entered (a battery's corrected gravity, a tyre's pressure as read), of a measure.
    pub value_si: Option<f64>,
    /// What was held against the limits, if that is another figure than `value_si`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged_value: Option<f64>,
    /// The limits it was held against, of a measure.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// The reading and its verdict in a sentence.
    pub text: String,
}

/// The `verdict` calculation.
pub fn calculate(input: &VerdictInput) -> Result<Judged, Invalid> {
    if let Some(fault) = input.check.faults().into_iter().next() {
        return Err(fault.within("check"));
    }
    judge(&input.check, &input.reading, &input.context).map_err(|fault| fault.within("reading"))
}
