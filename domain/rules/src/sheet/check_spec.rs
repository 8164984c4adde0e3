//! One check of a sheet: what is looked at or measured, what its answers mean, and what follows from them.

use serde::{Deserialize, Serialize};

use super::{Effect, Figure, Job, Work};
use crate::Invalid;
use crate::measure::Unit;
use crate::verdict::Verdict;

mod wire;

/// The limits on one side of a measure, in the check's unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Side {
    /// At this value and beyond: marginal.
    pub marginal_at: Figure,
    /// At this value and beyond: unserviceable.
    pub unserviceable_at: Figure,
    /// Beyond this the part no longer does its work. Only where truly known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub fails_at: Option<Figure>,
}

/// What a measure may be: falling measures have a low side, growing ones a high side, those that stay in a band both.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Limits {
    /// The value of a new part.
    pub as_new: Figure,
    /// Too little.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low: Option<Side>,
    /// Too much.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<Side>,
}

/// How a measure moves with running hours, before any reading of this part (section 4). The mean start is the limits'
/// `as_new`, the reading's own doubt the measure's repeatability.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct WearSpec {
    /// Standard deviation of the value as new.
    pub as_new_sd: Figure,
    /// Mean wear an hour, over 0 whichever way it goes.
    pub rate: Figure,
    /// Standard deviation of that rate between parts; at most `rate` / 2.5, so that parts do not heal.
    pub rate_sd: Figure,
}

/// What a reading must be turned into before it is held against its limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum Derived {
    /// Wet lead-acid battery: volts or gravity, with temperature and full-charge basis, become corrected gravity;
    /// frozen at the forecast low is unserviceable.
    Battery,
    /// Tyre pressure: taken by the gas law from the temperature it was read at to this one, degC.
    Tyre {
        /// The temperature the limits are meant at, degC.
        at_c: Figure,
    },
}

/// How a measure's value is said, after its number and unit.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Words {
    /// From 0 up: "over the rim", "of rubber".
    pub over: String,
    /// Under 0, said of the number without its sign: "below the rim".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub under: Option<String>,
}

/// A check that is a number.
#[derive(Debug, Clone, PartialEq)]
pub struct Measure {
    /// The unit of every figure of the check; SI.
    pub unit: Unit,
    /// Its limits.
    pub limits: Limits,
    /// One sigma of a single reading.
    pub repeatability: Figure,
    /// Smallest step of the tool.
    pub resolution: Figure,
    /// Least value that can be read at all; by default what the quantity allows (no negative lengths).
    pub least: Option<f64>,
    /// Greatest value that can be read at all.
    pub most: Option<f64>,
    /// How it wears.
    pub wear: Option<WearSpec>,
    /// What it is turned into first.
    pub derived: Option<Derived>,
    /// How its value is said in a reason.
    pub words: Option<Words>,
    /// Another check of the same part that says whether the part still does its work: while that one is not
    /// unserviceable, this one is at worst marginal for the rest of the season, and the part is renewed before the
    /// next (a belt whose take-up is used up).
    pub backed_by: Option<String>,
}

/// One of the answers to a check that is looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Grade {
    /// The answer, as the person chooses it.
    pub grade: String,
    /// What it means.
    pub verdict: Verdict,
}

/// How a check is answered.
#[derive(Debug, Clone, PartialEq)]
pub enum Reads {
    /// With a number and its unit.
    Measure(Box<Measure>),
    /// With one of these visual grades, best first.
    Grade(Vec<Grade>),
    /// With whether it works.
    Function,
    /// With one of these levels, best first.
    Level(Vec<Grade>),
}

/// The word for how a check is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum CheckKind {
    /// A number and its unit.
    Measure,
    /// A visual grade.
    Grade,
    /// Works or not.
    Function,
    /// A level.
    Level,
}

impl CheckKind {
    /// The word, as on the wire.
    pub fn word(self) -> &'static str {
        match self {
            CheckKind::Measure => "measure",
            CheckKind::Grade => "grade",
            CheckKind::Function => "function",
            CheckKind::Level => "level",
        }
    }
}

/// One check of a sheet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "wire::Wire", into = "wire::Wire")]
pub struct CheckSpec {
    /// Short name used in records, unique on the sheet: `auger_belt_ride`.
    pub check: String,
    /// What a technician calls it.
    pub title: String,
    /// The part it is about, if it is one that is fitted and renewed.
    pub part: Option<String>,
    /// The one kind of work it is for, if it is about an attachment; its part's where absent.
    pub only_for: Option<Work>,
    /// What unserviceable does to the unit.
    pub effect: Effect,
    /// Factor on the unit's rate while unserviceable, for `degrade`; the sheet's own where absent.
    pub rate_factor: Option<Figure>,
    /// How it is answered.
    pub reads: Reads,
    /// The work an unserviceable answer proposes, if it is not the renewal of its part: see [`super::Sheet::job_for`].
    pub job: Option<Job>,
    /// What can hurt while checking.
    pub cautions: Vec<String>,
    /// Where the check itself comes from.
    pub source: String,
}

impl CheckSpec {
    /// What is wrong with the check taken by itself.
    pub fn faults(&self) -> Vec<Invalid> {
        super::rules_of_a_sheet::faults_of_check(self)
    }

    /// How it is answered, in a word.
    pub fn kind(&self) -> CheckKind {
        match self.reads {
            Reads::Measure(_) => CheckKind::Measure,
            Reads::Grade(_) => CheckKind::Grade,
            Reads::Function => CheckKind::Function,
            Reads::Level(_) => CheckKind::Level,
        }
    }

    /// What is measured, if it is a number.
    pub fn measure(&self) -> Option<&Measure> {
        match &self.reads {
            Reads::Measure(measure) => Some(measure),
            _ => None,
        }
    }

    /// The answers to choose from, if it is not a number or a yes or no.
    pub fn grades(&self) -> Option<&[Grade]> {
        match &self.reads {
            Reads::Grade(grades) | Reads::Level(grades) => Some(grades),
            _ => None,
        }
    }
}

/// On the wire it is flat.
#[cfg(feature = "schema")]
impl utoipa::PartialSchema for CheckSpec {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        wire::Wire::schema()
    }
}

#[cfg(feature = "schema")]
impl utoipa::ToSchema for CheckSpec {
    fn schemas(schemas: &mut Vec<(String, utoipa::openapi::RefOr<utoipa::openapi::Schema>)>) {
        wire::Wire::schemas(schemas);
    }
}
