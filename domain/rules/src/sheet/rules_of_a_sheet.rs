//! What makes a sheet sensible: every fault, each with the field it is in.

use std::collections::BTreeSet;

use super::{
    CheckSpec, Derived, Effect, Figure, Grade, Job, LifeSpec, Limits, Measure, Reads, Sheet, Side,
    WearSpec,
};
use crate::Invalid;
use crate::measure::{Quantity, Unit};

/// Checks, or parts, a sheet may have.
const LIST_MAX: usize = 300;
/// Answers a grade may have.
const GRADES_MAX: usize = 20;
/// Longest text, characters.
const TEXT_MAX: usize = 300;
/// Longest short name, characters.
const CODE_MAX: usize = 60;
/// The mean rate of wear is at least so many of its standard deviations: a part that heals is a slip of the pen.
const RATE_SDS_MIN: f64 = 2.5;

/// Every fault of the sheet.
pub fn check(sheet: &Sheet) -> Result<(), Vec<Invalid>> {
    let mut faults = Faults::default();
    faults.text("kind", &sheet.kind);
    if sheet.works.is_empty() {
        faults.say(
            "works",
            "is empty: name at least one kind of work the model can be rigged for",
        );
    }
    usage_rate_start(sheet, &mut faults);
    for (list, len) in [("parts", sheet.parts.len()), ("checks", sheet.checks.len())] {
        if len > LIST_MAX {
            faults.say(
                list,
                format!("has {len} entries; at most {LIST_MAX} are allowed"),
            );
            return Err(faults.0);
        }
    }
    parts(sheet, &mut faults);
    checks(sheet, &mut faults);
    shear(sheet, &mut faults);
    if faults.0.is_empty() {
        Ok(())
    } else {
        Err(faults.0)
    }
}

/// Every fault of one check taken by itself.
pub fn faults_of_check(check: &CheckSpec) -> Vec<Invalid> {
    let mut faults = Faults::default();
    faults.code("check", &check.check);
    faults.text("title", &check.title);
    faults.text("source", &check.source);
    for (index, caution) in check.cautions.iter().enumerate() {
        faults.text(&format!("cautions[{index}]"), caution);
    }
    if let Some(factor) = &check.rate_factor {
        if check.effect != Effect::Degrade {
            faults.say(
                "rate_factor",
                "belongs to the effect `degrade`; leave it out or change the effect",
            );
        }
        faults.figure("rate_factor", factor, 0.01..=1.0);
    }
    if let Some(job) = &check.job {
        faults.job("job", job);
    }
    match &check.reads {
        Reads::Measure(measure) => faults.measure(check, measure),
        Reads::Grade(grades) | Reads::Level(grades) => faults.grades(grades),
        Reads::Function => {}
    }
    faults.0
}

fn usage_rate_start(sheet: &Sheet, faults: &mut Faults) {
    let (usage, rate, start) = (&sheet.usage, &sheet.rate, &sheet.start);
    faults.source("usage.exposure", &usage.exposure.source);
    faults.figure("usage.shape", &usage.shape, 0.05..=20.0);
    faults.figure("usage.prior_days", &usage.prior_days, 0.1..=10_000.0);
    faults.figure(
        "usage.prior_hours_per_day",
        &usage.prior_hours_per_day,
        0.001..=24.0,
    );
    faults.figure("rate.width_mm", &rate.width_mm, 50.0..=20_000.0);
    faults.figure("rate.overlap", &rate.overlap, 0.0..=0.9);
    faults.figure("rate.speed_m_per_h", &rate.speed_m_per_h, 1.0..=100_000.0);
    faults.figure("rate.efficiency", &rate.efficiency, 0.01..=1.0);
    faults.figure("rate.rating_kg_per_h", &rate.rating_kg_per_h, 1.0..=1e8);
    faults.figure("rate.degrade_factor", &rate.degrade_factor, 0.01..=1.0);
    faults.figure("start.alpha", &start.alpha, 1e-3..=1e6);
    faults.figure("start.beta", &start.beta, 1e-3..=1e9);
    faults.figure("start.shape", &start.shape, 0.05..=20.0);
    faults.figure("start.at_once", &start.at_once, 1e-6..=1.0);
    faults.figure("start.at_once_weight", &start.at_once_weight, 1e-3..=1e6);
    match sheet.check_spec(&start.check).map(|check| &check.reads) {
        Some(Reads::Function) => {}
        Some(_) => faults.say(
            "start.check",
            format!(
                "{} is not a function; name the check that is a proof start",
                start.check
            ),
        ),
        None => faults.say(
            "start.check",
            format!("{} is not a check of this sheet", start.check),
        ),
    }
    for (index, factor) in start.factors.iter().enumerate() {
        let field = format!("start.factors[{index}]");
        if sheet.check_spec(&factor.check).is_none() {
            faults.say(
                format!("{field}.check"),
                format!("{} is not a check of this sheet", factor.check),
            );
        }
        faults.figure(&format!("{field}.marginal"), &factor.marginal, 1.0..=1000.0);
        faults.figure(
            &format!("{field}.unserviceable"),
            &factor.unserviceable,
            1.0..=1000.0,
        );
        if factor.unserviceable.value < factor.marginal.value {
            faults.say(
                format!("{field}.unserviceable"),
                "must not be under `marginal`: a worse verdict cannot start better",
            );
        }
    }
}

fn parts(sheet: &Sheet, faults: &mut Faults) {
    let mut seen = BTreeSet::new();
    for (index, part) in sheet.parts.iter().enumerate() {
        let field = format!("parts[{index}]");
        faults.code(&format!("{field}.part"), &part.part);
        if !seen.insert(part.part.as_str()) {
            faults.say(
                format!("{field}.part"),
                format!("{} is already a part; give each its own name", part.part),
            );
        }
        faults.text(&format!("{field}.title"), &part.title);
        if let Some(life) = &part.life {
            faults.life(&format!("{field}.life"), life);
        } else if sheet.wear_checks(&part.part).next().is_none() {
            faults.say(
                field.clone(),
                format!(
                    "{} has neither a life nor a check that wears; give it one",
                    part.part
                ),
            );
        }
        if let Some(job) = &part.job {
            faults.job(&format!("{field}.job"), job);
        }
    }
}

fn checks(sheet: &Sheet, faults: &mut Faults) {
    let mut seen = BTreeSet::new();
    for (index, check) in sheet.checks.iter().enumerate() {
        let field = format!("checks[{index}]");
        if !seen.insert(check.check.as_str()) {
            faults.say(
                format!("{field}.check"),
                format!("{} is already a check; give each its own name", check.check),
            );
        }
        faults.0.extend(
            faults_of_check(check)
                .into_iter()
                .map(|fault| fault.within(&field)),
        );
        if let Some(part) = &check.part
            && sheet.part(part).is_none()
        {
            faults.say(
                format!("{field}.part"),
                format!("{part} is not a part of this sheet"),
            );
        }
        if let Some(other) = check
            .measure()
            .and_then(|measure| measure.backed_by.as_deref())
        {
            let same_part = sheet.check_spec(other).is_some_and(|other| {
                other.check != check.check && other.part == check.part && other.measure().is_some()
            });
            if check.part.is_none() || !same_part {
                faults.say(
                    format!("{field}.backed_by"),
                    format!("{other} must be another measure of the same part"),
                );
            }
        }
    }
}

fn shear(sheet: &Sheet, faults: &mut Faults) {
    let Some(shear) = &sheet.shear_fasteners else {
        return;
    };
    let at = |name: &str| format!("shear_fasteners.{name}");
    faults.text(&at("part_number"), &shear.part_number.value);
    faults.source(&at("part_number"), &shear.part_number.source);
    for (name, count) in [("fitted", &shear.fitted), ("carried", &shear.carried)] {
        faults.source(&at(name), &count.source);
        if count.value > 1000 {
            faults.say(at(name), "must be at most 1000");
        }
    }
    faults.figure(&at("alpha"), &shear.alpha, 1e-3..=1e6);
    faults.figure(&at("beta_hours"), &shear.beta_hours, 1e-3..=1e9);
    match sheet.check_spec(&shear.fitted_check) {
        Some(check) if check.measure().is_none() => {}
        _ => faults.say(
            at("fitted_check"),
            "must be a check of this sheet that asks which fasteners are fitted, not a measure",
        ),
    }
    if sheet.unit_of(&shear.spares_check) != Some(Unit::Count) {
        faults.say(
            at("spares_check"),
            "must be a measure of this sheet that counts the spares aboard",
        );
    }
}

/// Faults found so far.
#[derive(Default)]
struct Faults(Vec<Invalid>);

impl Faults {
    fn say(&mut self, field: impl Into<String>, problem: impl Into<String>) {
        self.0.push(Invalid::new(field, problem));
    }

    fn text(&mut self, field: &str, text: &str) {
        if text.trim().is_empty() || text.chars().count() > TEXT_MAX || text.contains('\0') {
            self.say(
                field,
                format!("must be 1 to {TEXT_MAX} characters, without NUL"),
            );
        }
    }

    fn source(&mut self, field: &str, source: &str) {
        if source.trim().is_empty() || source.chars().count() > TEXT_MAX || source.contains('\0') {
            self.say(
                format!("{field}.source"),
                format!("must be 1 to {TEXT_MAX} characters: where the figure comes from, `common practice` where that is the truth"),
            );
        }
    }

    fn code(&mut self, field: &str, code: &str) {
        let fits = |c: char| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_';
        if code.is_empty() || code.len() > CODE_MAX || !code.chars().all(fits) {
            self.say(
                field,
                format!("must be 1 to {CODE_MAX} lower-case letters, digits and underscores"),
            );
        }
    }

    fn figure(&mut self, field: &str, figure: &Figure, range: std::ops::RangeInclusive<f64>) {
        self.source(field, &figure.source);
        if !range.contains(&figure.value) {
            self.say(
                format!("{field}.value"),
                format!("must be {} to {}", range.start(), range.end()),
            );
        }
    }

    fn job(&mut self, field: &str, job: &Job) {
        self.text(&format!("{field}.title"), &job.title);
        self.figure(&format!("{field}.minutes"), &job.minutes, 0.0..=10_000.0);
        for (index, part) in job.parts.iter().enumerate() {
            self.text(&format!("{field}.parts[{index}]"), part);
        }
    }

    fn life(&mut self, field: &str, life: &LifeSpec) {
        self.figure(&format!("{field}.shape"), &life.shape, 0.05..=20.0);
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

    fn grades(&mut self, grades: &[Grade]) {
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

    fn measure(&mut self, check: &CheckSpec, measure: &Measure) {
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
