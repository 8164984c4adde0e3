//! One check of a sheet: what is looked at or measured, what its answers mean, and what follows from them.

use serde::{Deserialize, Serialize};

use super::{Effect, Figure, Job};
use crate::Invalid;
use crate::measure::Unit;
use crate::verdict::Verdict;

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
#[serde(try_from = "Wire", into = "Wire")]
pub struct CheckSpec {
    /// Short name used in records, unique on the sheet: `auger_belt_ride`.
    pub check: String,
    /// What a technician calls it.
    pub title: String,
    /// The part it is about, if it is one that is fitted and renewed.
    pub part: Option<String>,
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

/// A check as written: flat, the fields of the other kinds absent.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
struct Wire {
    check: String,
    title: String,
    kind: CheckKind,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    part: Option<String>,
    effect: Effect,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    rate_factor: Option<Figure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    unit: Option<Unit>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    limits: Option<Limits>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    repeatability: Option<Figure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    resolution: Option<Figure>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    least: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    most: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    wear: Option<WearSpec>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    derived: Option<Derived>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    words: Option<Words>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    backed_by: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grades: Option<Vec<Grade>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    job: Option<Job>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    cautions: Vec<String>,
    source: String,
}

impl Wire {
    /// The first field that belongs to a measure and is there.
    fn measure_field(&self) -> Option<&'static str> {
        [
            ("unit", self.unit.is_some()),
            ("limits", self.limits.is_some()),
            ("repeatability", self.repeatability.is_some()),
            ("resolution", self.resolution.is_some()),
            ("least", self.least.is_some()),
            ("most", self.most.is_some()),
            ("wear", self.wear.is_some()),
            ("derived", self.derived.is_some()),
            ("words", self.words.is_some()),
            ("backed_by", self.backed_by.is_some()),
        ]
        .into_iter()
        .find_map(|(field, given)| given.then_some(field))
    }
}

impl TryFrom<Wire> for CheckSpec {
    type Error = Invalid;

    fn try_from(wire: Wire) -> Result<Self, Invalid> {
        let kind = wire.kind.word();
        let wanted = |field: &str| {
            Invalid::new(
                field,
                format!("is missing: a {kind} needs it (check {})", wire.check),
            )
        };
        if wire.kind != CheckKind::Measure
            && let Some(field) = wire.measure_field()
        {
            return Err(Invalid::new(
                field,
                format!(
                    "belongs to a measure; leave it out of a {kind} (check {})",
                    wire.check
                ),
            ));
        }
        let has_grades = matches!(wire.kind, CheckKind::Grade | CheckKind::Level);
        if !has_grades && wire.grades.is_some() {
            return Err(Invalid::new(
                "grades",
                format!(
                    "belong to a grade or a level; leave them out of a {kind} (check {})",
                    wire.check
                ),
            ));
        }
        let reads = match wire.kind {
            CheckKind::Measure => Reads::Measure(Box::new(Measure {
                unit: wire.unit.ok_or_else(|| wanted("unit"))?,
                limits: wire.limits.clone().ok_or_else(|| wanted("limits"))?,
                repeatability: wire
                    .repeatability
                    .clone()
                    .ok_or_else(|| wanted("repeatability"))?,
                resolution: wire
                    .resolution
                    .clone()
                    .ok_or_else(|| wanted("resolution"))?,
                least: wire.least,
                most: wire.most,
                wear: wire.wear,
                derived: wire.derived,
                words: wire.words,
                backed_by: wire.backed_by,
            })),
            CheckKind::Grade => Reads::Grade(wire.grades.clone().ok_or_else(|| wanted("grades"))?),
            CheckKind::Function => Reads::Function,
            CheckKind::Level => Reads::Level(wire.grades.clone().ok_or_else(|| wanted("grades"))?),
        };
        Ok(CheckSpec {
            check: wire.check,
            title: wire.title,
            part: wire.part,
            effect: wire.effect,
            rate_factor: wire.rate_factor,
            reads,
            job: wire.job,
            cautions: wire.cautions,
            source: wire.source,
        })
    }
}

impl From<CheckSpec> for Wire {
    fn from(spec: CheckSpec) -> Self {
        let kind = spec.kind();
        let mut wire = Wire {
            check: spec.check,
            title: spec.title,
            kind,
            part: spec.part,
            effect: spec.effect,
            rate_factor: spec.rate_factor,
            unit: None,
            limits: None,
            repeatability: None,
            resolution: None,
            least: None,
            most: None,
            wear: None,
            derived: None,
            words: None,
            backed_by: None,
            grades: None,
            job: spec.job,
            cautions: spec.cautions,
            source: spec.source,
        };
        match spec.reads {
            Reads::Measure(measure) => {
                wire.unit = Some(measure.unit);
                wire.limits = Some(measure.limits);
                wire.repeatability = Some(measure.repeatability);
                wire.resolution = Some(measure.resolution);
                wire.least = measure.least;
                wire.most = measure.most;
                wire.wear = measure.wear;
                wire.derived = measure.derived;
                wire.words = measure.words;
                wire.backed_by = measure.backed_by;
            }
            Reads::Grade(grades) | Reads::Level(grades) => wire.grades = Some(grades),
            Reads::Function => {}
        }
        wire
    }
}

/// On the wire it is flat.
#[cfg(feature = "schema")]
impl utoipa::PartialSchema for CheckSpec {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        Wire::schema()
    }
}

#[cfg(feature = "schema")]
impl utoipa::ToSchema for CheckSpec {
    fn schemas(schemas: &mut Vec<(String, utoipa::openapi::RefOr<utoipa::openapi::Schema>)>) {
        Wire::schemas(schemas);
    }
}
