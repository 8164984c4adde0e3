//! The model sheet: everything the computation must know about a kind of machine, one per model, every figure with
//! the place it comes from. Defaults per kind of machine are data files under `data/`; nothing is hidden in code.

use serde::{Deserialize, Serialize};

use crate::Invalid;
use crate::measure::Unit;

mod check_spec;
mod default_sheets;
mod faults;
mod rules_of_a_sheet;
pub(crate) mod task;
mod work;

pub use check_spec::{
    CheckKind, CheckSpec, Derived, Grade, Limits, Measure, Reads, Side, WearSpec,
};
pub use default_sheets::{
    battery_checks, battery_start_factors, default_checklist, default_kinds, default_sheet,
    two_stage_thrower, two_stage_thrower_checklist,
};
pub use task::TaskSpec;
pub use work::{Attachment, RateFigures, RateUnit, Work};

/// A value and where it comes from: a published standard, "operator manuals", "common practice", or "no published
/// limit; district default" where that is the truth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Sourced<T> {
    // SI where it is a quantity. A docstring would become a second schema beside the value's own, an object, which no
    // value fits.
    #[expect(missing_docs, reason = "the document takes it for a schema")]
    #[cfg_attr(feature = "schema", schema(inline))]
    pub value: T,
    /// Where the value comes from, in plain words.
    pub source: String,
}

/// A number and where it comes from.
pub type Figure = Sourced<f64>;

/// What an unserviceable check, or a part that fails, does to the unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// Worth knowing; the unit works on.
    Note,
    /// The unit works at a lower rate.
    Degrade,
    /// The unit cannot do its work.
    Stop,
    /// Safety: do not operate.
    Hold,
}

impl Effect {
    /// Whether a unit with such a fault is out of the storm: `hold` and `stop`.
    pub fn takes_out(self) -> bool {
        matches!(self, Effect::Stop | Effect::Hold)
    }
}

/// What running hours are counted against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = HoursCountedAgainst))]
#[serde(rename_all = "snake_case")]
pub enum Exposure {
    /// Days with snowfall at or over the depot's threshold.
    SnowDays,
    /// Weekdays of the season (brooms, sprayers, blowers).
    SeasonWeekdays,
}

/// What a part's age is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "snake_case")]
pub enum Clock {
    /// Running hours.
    Hours,
    /// Calendar days.
    Days,
}

/// What is known of a model's use before any hours are read (section 3: `n0` days at `r0` hours).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct UsageFigures {
    /// What hours are counted against.
    pub exposure: Sourced<Exposure>,
    /// Shape of the hours of one day of use.
    pub shape: Figure,
    /// How many days of use the prior is worth.
    pub prior_days: Figure,
    /// Mean running hours on one such day.
    pub prior_hours_per_day: Figure,
}

/// How a kind of machine starts after standing (section 6).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct StartFigures {
    /// Shape of the Gamma of the rate of going dead.
    pub alpha: Figure,
    /// Its rate parameter, days to the power `shape`.
    pub beta: Figure,
    /// Power of the days stood.
    pub shape: Figure,
    /// Chance of starting within two days of a run.
    pub at_once: Figure,
    /// Starts within two days of a run that `at_once` is worth.
    pub at_once_weight: Figure,
    /// The check whose `works` is a proof start.
    pub check: String,
    /// What makes a machine go dead sooner.
    #[serde(default)]
    pub factors: Vec<StartFactor>,
}

/// A check whose verdict multiplies the time a machine seems to have stood.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct StartFactor {
    /// The check.
    pub check: String,
    /// Factor while its latest verdict is marginal, at least 1.
    pub marginal: Figure,
    /// Factor while it is unserviceable, at least `marginal`.
    pub unserviceable: Figure,
    /// What keeps a measure that is an age from growing older, for a while: stabiliser keeps fuel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub kept_by: Option<KeptBy>,
}

/// What keeps an age from growing, and how long.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct KeptBy {
    /// The check that must have been found serviceable on the day of the age's reading or later.
    pub check: String,
    /// Days from that reading that do not count.
    pub days: Figure,
}

/// The shear fasteners: which, how many are carried, how often they break.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct ShearFasteners {
    /// The maker's part number; any other bolt or pin is a substitute.
    pub part_number: Sourced<String>,
    /// How many the machine wears.
    pub fitted: Sourced<u32>,
    /// How many matching spares it carries when nobody has counted.
    pub carried: Sourced<u32>,
    /// Breaks the prior is worth.
    pub alpha: Figure,
    /// Running hours it is worth; the mean rate is alpha / beta breaks an hour.
    pub beta_hours: Figure,
    /// The check that asks whether those fitted are the maker's.
    pub fitted_check: String,
    /// The check that counts the matching spares carried on the machine.
    pub spares_check: String,
}

/// Life of a part that is not measured, or the sudden breakage of one that is (section 5).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct LifeSpec {
    /// What its age is counted in.
    pub clock: Clock,
    /// Weibull shape.
    pub shape: Figure,
    /// Weibull scale of the prior, in the clock's unit.
    pub prior_scale: Figure,
    /// Failures the prior is worth.
    pub prior_weight: Figure,
    /// What it does then, said after "does not": "break", "give up".
    pub failure: String,
}

/// A part of the machine that wears or ends.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct PartSpec {
    /// Short name used in records, unique on the sheet: `auger_belt`.
    pub part: String,
    /// What a technician calls it: "auger belt".
    pub title: String,
    /// The one kind of work it is for, if it belongs to an attachment: it concerns no unit rigged for another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only_for: Option<Work>,
    /// What its failure does to the unit.
    pub effect: Effect,
    /// Its life, if it is not measured, or how it breaks all of a sudden, if it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub life: Option<LifeSpec>,
    /// The job that renews it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<Job>,
}

/// Work to propose.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Job {
    /// What to do: "Renew the auger belt".
    pub title: String,
    /// Labour, minutes, for an experienced technician at a bench.
    pub minutes: Figure,
    /// What it takes from the shelf.
    #[serde(default)]
    pub parts: Vec<String>,
}

/// Everything the computation must know about a model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// The kind of machine: "two-stage thrower". Machines of a kind share the doubt about how they start.
    pub kind: String,
    /// What the model can be rigged for; first what it usually is.
    pub works: Vec<Work>,
    /// Its use.
    pub usage: UsageFigures,
    /// Its rate, in the first of its works unless an attachment has another.
    pub rate: RateFigures,
    /// What it is rigged with for its other works, where its rate differs.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub attachments: Vec<Attachment>,
    /// Sound level at the operator's ear at work, dBA: the maker's declaration or a measurement.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub noise_db_a: Option<Figure>,
    /// Vibration total value at the handles at work, m/s2 (ISO 5349-1): the maker's declaration or a measurement.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hand_arm_m_per_s2: Option<Figure>,
    /// How it starts.
    pub start: StartFigures,
    /// Its shear fasteners, if it has any.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shear_fasteners: Option<ShearFasteners>,
    /// Its parts.
    pub parts: Vec<PartSpec>,
    /// What is checked, in no particular order: a checklist has the order.
    pub checks: Vec<CheckSpec>,
    /// What is to be done again and again.
    #[serde(default)]
    pub tasks: Vec<TaskSpec>,
}

impl Sheet {
    /// The check of that code.
    pub fn check_spec(&self, code: &str) -> Option<&CheckSpec> {
        self.checks.iter().find(|check| check.check == code)
    }

    /// The part of that name.
    pub fn part(&self, part: &str) -> Option<&PartSpec> {
        self.parts.iter().find(|spec| spec.part == part)
    }

    /// The task of that name.
    pub fn task(&self, task: &str) -> Option<&TaskSpec> {
        self.tasks.iter().find(|spec| spec.task == task)
    }

    /// The checks that measure how `part` wears.
    pub fn wear_checks<'a>(
        &'a self,
        part: &'a str,
    ) -> impl Iterator<Item = (&'a CheckSpec, &'a Measure, &'a WearSpec)> {
        self.checks
            .iter()
            .filter(move |check| check.part.as_deref() == Some(part))
            .filter_map(|check| {
                let measure = check.measure()?;
                Some((check, measure, measure.wear.as_ref()?))
            })
    }

    /// The job that puts spare shear fasteners aboard: its parts are what a break takes, one of each.
    pub fn spares_job(&self) -> Option<&Job> {
        let shear = self.shear_fasteners.as_ref()?;
        self.job_for(self.check_spec(&shear.spares_check)?)
    }

    /// The work that an unserviceable answer to a check proposes: the check's own job, else the renewal of its part.
    pub fn job_for<'a>(&'a self, check: &'a CheckSpec) -> Option<&'a Job> {
        check
            .job
            .as_ref()
            .or_else(|| self.part(check.part.as_deref()?)?.job.as_ref())
    }

    /// Reads a sheet from TOML, the form of the default sheets.
    pub fn from_toml(text: &str) -> Result<Self, Invalid> {
        toml::from_str(text).map_err(|error| Invalid::new("", error.to_string()))
    }

    /// Whether the sheet makes sense as a whole. Every fault is named, not only the first.
    pub fn check(&self) -> Result<(), Vec<Invalid>> {
        rules_of_a_sheet::check(self)
    }

    /// The unit a check's figures are in; `None` for what is not measured.
    pub fn unit_of(&self, code: &str) -> Option<Unit> {
        self.check_spec(code)?.measure().map(|measure| measure.unit)
    }
}
