//! A check as it is written: flat, with the fields of its kind and none of another's.

use serde::{Deserialize, Serialize};

use super::{CheckKind, CheckSpec, Derived, Grade, Limits, Measure, Reads, WearSpec, Words};
use crate::Invalid;
use crate::measure::Unit;
use crate::sheet::{Effect, Figure, Job, Work};

/// A check as written: flat, the fields of the other kinds absent.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub(super) struct Wire {
    check: String,
    title: String,
    kind: CheckKind,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    part: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    only_for: Option<Work>,
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
            only_for: wire.only_for,
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
            only_for: spec.only_for,
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
