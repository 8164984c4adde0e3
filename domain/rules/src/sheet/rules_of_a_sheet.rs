//! What makes a sheet sensible: every fault, each with the field it is in.

use std::collections::BTreeSet;

use super::faults::Faults;
use super::task::{self, TASKS_MAX};
use super::{CheckSpec, Effect, Reads, Sheet, work};
use crate::Invalid;
use crate::measure::Unit;

/// Checks, or parts, a sheet may have.
const LIST_MAX: usize = 300;
/// Kinds of work a sheet may have: as many as there are.
const WORKS_MAX: usize = 3;

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
    let lists = [
        ("parts", sheet.parts.len(), LIST_MAX),
        ("checks", sheet.checks.len(), LIST_MAX),
        ("tasks", sheet.tasks.len(), TASKS_MAX),
        ("works", sheet.works.len(), WORKS_MAX),
        ("attachments", sheet.attachments.len(), WORKS_MAX),
    ];
    for (list, len, most) in lists {
        if len > most {
            faults.say(
                list,
                format!("has {len} entries; at most {most} are allowed"),
            );
            return Err(faults.0);
        }
    }
    usage(sheet, &mut faults);
    work::faults(sheet, &mut faults);
    operator(sheet, &mut faults);
    start(sheet, &mut faults);
    parts(sheet, &mut faults);
    checks(sheet, &mut faults);
    shear(sheet, &mut faults);
    tasks(sheet, &mut faults);
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

fn usage(sheet: &Sheet, faults: &mut Faults) {
    let usage = &sheet.usage;
    faults.source("usage.exposure", &usage.exposure.source);
    faults.figure("usage.shape", &usage.shape, 0.05..=20.0);
    faults.figure("usage.prior_days", &usage.prior_days, 0.1..=10_000.0);
    faults.figure(
        "usage.prior_hours_per_day",
        &usage.prior_hours_per_day,
        0.001..=24.0,
    );
}

/// What the machine does to whoever runs it.
fn operator(sheet: &Sheet, faults: &mut Faults) {
    // The threshold of pain, and twice what the roughest breakers do.
    let figures = [
        ("noise_db_a", &sheet.noise_db_a, 30.0..=140.0),
        ("hand_arm_m_per_s2", &sheet.hand_arm_m_per_s2, 0.0..=100.0),
    ];
    for (field, figure, range) in figures {
        if let Some(figure) = figure {
            faults.figure(field, figure, range);
        }
    }
}

fn start(sheet: &Sheet, faults: &mut Faults) {
    let start = &sheet.start;
    faults.figure("start.alpha", &start.alpha, 1e-3..=1e6);
    faults.figure("start.beta", &start.beta, 1e-3..=1e9);
    faults.figure("start.shape", &start.shape, 0.05..=20.0);
    faults.figure("start.at_once", &start.at_once, 1e-6..=1.0);
    faults.figure("start.at_once_weight", &start.at_once_weight, 1e-3..=1e6);
    match sheet.check_spec(&start.check).map(|check| &check.reads) {
        Some(Reads::Function) => {
            let check = sheet.check_spec(&start.check);
            if check.is_some_and(|check| check.only_for.is_some()) {
                faults.say(
                    "start.check",
                    "is only for one kind of work: a unit rigged for another could not be proven",
                );
            }
        }
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
        if let Some(kept) = &factor.kept_by {
            if sheet.check_spec(&kept.check).is_none() {
                faults.say(
                    format!("{field}.kept_by.check"),
                    format!("{} is not a check of this sheet", kept.check),
                );
            }
            faults.figure(&format!("{field}.kept_by.days"), &kept.days, 0.0..=3660.0);
        }
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

fn tasks(sheet: &Sheet, faults: &mut Faults) {
    let mut seen = BTreeSet::new();
    for (index, task) in sheet.tasks.iter().enumerate() {
        let field = format!("tasks[{index}]");
        if !seen.insert(task.task.as_str()) {
            faults.say(
                format!("{field}.task"),
                format!("{} is already a task; give each its own name", task.task),
            );
        }
        task::faults(sheet, &field, task, faults);
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
