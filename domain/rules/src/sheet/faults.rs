//! Faults of a sheet as they are found: each with its field, what is wrong and what to do.

use std::collections::BTreeSet;

use super::{CheckSpec, Derived, Figure, Grade, Job, LifeSpec, Limits, Measure, Side, WearSpec};
use crate::Invalid;
use crate::life::SHAPES;
use crate::measure::{Quantity, Unit};

/// Answers a grade may have.
const GRADES_MAX: usize = 20;
/// Longest text, characters.
const TEXT_MAX: usize = 300;
/// Longest short name, characters.
const CODE_MAX: usize = 60;
/// The mean rate of wear is at least so many of its standard deviations: a part that heals is a slip of the pen.
const RATE_SDS_MIN: f64 = 2.5;

/// Faults found so far.
#[derive(Default)]
pub(super) struct Faults(pub(super) Vec<Invalid>);

impl Faults {
    pub(super) fn say(&mut self, field: impl Into<String>, problem: impl Into<String>) {
        self.0.push(Invalid::new(field, problem));
    }

    pub(super) fn text(&mut self, field: &str, text: &str) {
        if text.trim().is_empty() || text.chars().count() > TEXT_MAX || text.contains('\0') {
            self.say(
                field,
                format!("must be 1 to {TEXT_MAX} characters, without NUL"),
            );
        }
    }

    pub(super) fn source(&mut self, field: &str, source: &str) {
        if source.trim().is_empty() || source.chars().count() > TEXT_MAX || source.contains('\0') {
            self.say(
                format!("{field}.source"),
                format!("must be 1 to {TEXT_MAX} characters: where the figure comes from, `common practice` where that is the truth"),
            );
        }
    }

    pub(super) fn code(&mut self, field: &str, code: &str) {
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        if code.is_empty() || code.len() > CODE_MAX || !code.chars().all(fits) {
            self.say(
                field,
                format!("must be 1 to {CODE_MAX} lower-case letters, digits and underscores"),
            );
        }
    }

    pub(super) fn figure(
        &mut self,
        field: &str,
        figure: &Figure,
        range: std::ops::RangeInclusive<f64>,
    ) {
        self.source(field, &figure.source);
        if !range.contains(&figure.value) {
            self.say(
                format!("{field}.value"),
                format!("must be {} to {}", range.start(), range.end()),
            );
        }
    }

    pub(super) fn job(&mut self, field: &str, job: &Job) {
        self.text(&format!("{field}.title"), &job.title);
        self.figure(&format!("{field}.minutes"), &job.minutes, 0.0..=10_000.0);
        for (index, part) in job.parts.iter().enumerate() {
            self.text(&format!("{field}.parts[{index}]"), part);
        }
    }

    pub(super) fn life(&mut self, field: &str, life: &LifeSpec) {
        self.figure(&format!("{field}.shape"), &life.shape, SHAPES);
        self.figure(
            &format!("{field}.prior_scale"),
            &life.prior_scale,
            1e-3..=1e7,
        );
        self.figure(
            &format!("{field}.prior_weight"),
            &life.prior_weight,
            1e-3..=1e6,
        );
        self.text(&format!("{field}.failure"), &life.failure);
    }

    pub(super) fn grades(&mut self, grades: &[Grade]) {
        if grades.is_empty() || grades.len() > GRADES_MAX {
            self.say(
                "grades",
                format!("must be 1 to {GRADES_MAX} answers, best first"),
            );
        }
        let mut seen = BTreeSet::new();
        for (index, grade) in grades.iter().enumerate() {
            self.text(&format!("grades[{index}].grade"), &grade.grade);
            if !seen.insert(grade.grade.as_str()) {
                self.say(
                    format!("grades[{index}].grade"),
                    format!("{:?} is there twice", grade.grade),
                );
            }
        }
        if let Some(index) = grades
            .windows(2)
            .position(|pair| pair[1].verdict < pair[0].verdict)
        {
            self.say(
                format!("grades[{}].verdict", index + 1),
                "is better than the one before: order the answers best first",
            );
        }
    }

    pub(super) fn measure(&mut self, check: &CheckSpec, measure: &Measure) {
        if !measure.unit.is_si() {
            self.say(
                "unit",
                "must be SI (mm, kPa, degC and so on): people may still type what they are used to",
            );
        }
        self.figure("repeatability", &measure.repeatability, 0.0..=1e6);
        self.figure("resolution", &measure.resolution, 0.0..=1e6);
        for (field, bound) in [("least", measure.least), ("most", measure.most)] {
            if bound.is_some_and(|bound| !bound.is_finite()) {
                self.say(field, "must be a finite number");
            }
        }
        if let (Some(least), Some(most)) = (measure.least, measure.most)
            && least >= most
        {
            self.say("least", "must be under `most`");
        }
        self.limits(&measure.limits);
        match &measure.derived {
            Some(Derived::Battery) if measure.unit != Unit::SpecificGravity => {
                self.say(
                    "unit",
                    "must be SG: a battery's limits are gravities, whatever it is read with",
                );
            }
            Some(Derived::Tyre { .. }) if measure.unit.quantity() != Quantity::Pressure => {
                self.say("unit", "must be kPa: a tyre's limits are pressures");
            }
            Some(Derived::Tyre { at_c }) => self.figure("derived.tyre.at_c", at_c, -60.0..=60.0),
            _ => {}
        }
        if let Some(wear) = &measure.wear {
            self.wear(check, measure, wear);
        }
    }

    fn limits(&mut self, limits: &Limits) {
        self.figure("limits.as_new", &limits.as_new, -1e9..=1e9);
        if limits.low.is_none() && limits.high.is_none() {
            self.say(
                "limits",
                "have no side: give `low` for what falls, `high` for what grows, both for a band",
            );
        }
        if let Some(low) = &limits.low {
            self.side("low", low, limits.as_new.value, -1.0);
        }
        if let Some(high) = &limits.high {
            self.side("high", high, limits.as_new.value, 1.0);
        }
    }

    /// As new, marginal, unserviceable, fails: in that order on the way out.
    fn side(&mut self, name: &str, side: &Side, as_new: f64, sign: f64) {
        let which = if sign < 0.0 { "under" } else { "over" };
        let steps = [
            ("marginal_at", Some(&side.marginal_at)),
            ("unserviceable_at", Some(&side.unserviceable_at)),
            ("fails_at", side.fails_at.as_ref()),
        ];
        let (mut before, mut before_name) = (as_new, "as_new");
        for (step, figure) in steps {
            let Some(figure) = figure else { continue };
            let field = format!("limits.{name}.{step}");
            self.figure(&field, figure, -1e9..=1e9);
            if sign * figure.value <= sign * before {
                self.say(
                    format!("{field}.value"),
                    format!("must be {which} `{before_name}`: it is on the {name} side"),
                );
            }
            (before, before_name) = (figure.value, step);
        }
    }

    fn wear(&mut self, check: &CheckSpec, measure: &Measure, wear: &WearSpec) {
        if check.part.is_none() {
            self.say("part", "is missing: what wears is a part; name it");
        }
        if measure.limits.low.is_some() == measure.limits.high.is_some() {
            self.say(
                "wear",
                "needs limits on one side only: a part wears one way",
            );
        }
        if measure.derived.is_some() {
            self.say("wear", "cannot be for a battery or a tyre");
        }
        self.figure("wear.as_new_sd", &wear.as_new_sd, 1e-9..=1e6);
        self.figure("wear.rate", &wear.rate, 1e-9..=1e6);
        self.figure("wear.rate_sd", &wear.rate_sd, 1e-9..=1e6);
        if wear.rate.value < RATE_SDS_MIN * wear.rate_sd.value {
            self.say(
                "wear.rate_sd.value",
                "must be at most `rate` / 2.5: else the sheet says that parts heal",
            );
        }
        if measure.repeatability.value.max(measure.resolution.value) <= 0.0 {
            self.say(
                "repeatability.value",
                "must be over 0 for what wears: no reading is exact",
            );
        }
    }
}
