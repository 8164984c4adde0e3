//! What there is to do for a machine: what was found, tags, parts that may not last, what is owed, and what orders have beside.
//! What is done in one go is one job: two findings about one belt renew it once.

use super::OpenLine;
use super::job::{Draft, JobKind, Key, MinutesFrom};
use super::proof;
use super::weigh::OfUnit;
use crate::because::number;
use crate::due::State;
use crate::facts::FindingFacts;
use crate::sheet::{CheckSpec, Effect, Sheet};
use crate::unit::open::frozen_check;
use crate::unit::parts::Advice;
use crate::unit::tasks::TaskState;

/// Jobs of a machine that are looked at.
pub(super) const JOBS_MAX: usize = 60;

/// A look after a repair, or at a hold tag, minutes (common practice).
pub(super) const PROOF_MINUTES: f64 = 10.0;

/// Jobs by what they are, in the order in which they were first asked for.
#[derive(Default)]
pub(super) struct Jobs(Vec<Draft>);

impl Jobs {
    pub(super) fn at(&mut self, key: &Key, new: impl FnOnce() -> Draft) -> &mut Draft {
        let place = self.0.iter().position(|job| job.key == *key);
        let place = place.unwrap_or_else(|| {
            self.0.push(new());
            self.0.len() - 1
        });
        &mut self.0[place]
    }

    pub(super) fn has(&self, which: impl Fn(&Draft) -> bool) -> bool {
        self.0.iter().any(which)
    }
}

/// All of a machine's jobs.
pub(super) fn drafts<'l>(of: &OfUnit<'_>, lines: impl Iterator<Item = &'l OpenLine>) -> Vec<Draft> {
    // Nobody works here on what is elsewhere.
    if of.unit.away.is_some() {
        return Vec::new();
    }
    let sheet = of.model.sheet;
    let mut jobs = Jobs::default();
    for finding in &of.unit.findings {
        if sheet.check_concerns(&finding.check, of.unit.rigging) {
            repair(&mut jobs, sheet, finding);
        }
    }
    hold_tags(&mut jobs, of);
    battery(&mut jobs, of);
    fasteners(&mut jobs, of);
    renewals(&mut jobs, of);
    proof::inspection(&mut jobs, of);
    proof::start(&mut jobs, of);
    tasks(&mut jobs, of);
    for line in lines {
        on_order(&mut jobs, line);
    }
    for job in &mut jobs.0 {
        all_but_proved(job);
    }
    jobs.0
}

/// The job that puts a check right: its own, else a new part; and of what part.
fn put_right(sheet: &Sheet, check: &CheckSpec) -> Draft {
    let renewed = check.part.as_deref().and_then(|part| sheet.part(part));
    match (&check.job, renewed) {
        (None, Some(part)) => {
            let key = Key::Part(part.part.clone());
            match &part.job {
                Some(job) => Draft::new(key, JobKind::Repair, &job.title)
                    .on_sheet(job.minutes.value, &job.parts),
                None => Draft::new(key, JobKind::Repair, format!("Renew the {}", part.title)),
            }
        }
        (Some(job), _) => {
            // Checks with the same job are put right in one go; the first of them stands for it.
            let same =
                |one: &&CheckSpec| one.job.as_ref().is_some_and(|own| own.title == job.title);
            let first = sheet.checks.iter().find(same).unwrap_or(check);
            let key = Key::Repair(first.check.clone());
            Draft::new(key, JobKind::Repair, &job.title).on_sheet(job.minutes.value, &job.parts)
        }
        (None, None) => {
            let key = Key::Repair(check.check.clone());
            Draft::new(key, JobKind::Repair, format!("Put right: {}", check.title))
        }
    }
}

fn repair(jobs: &mut Jobs, sheet: &Sheet, finding: &FindingFacts) {
    let spec = sheet.check_spec(&finding.check);
    let draft = match spec {
        Some(check) => put_right(sheet, check),
        None => Draft::new(
            Key::Repair(finding.check.clone()),
            JobKind::Repair,
            format!("Put right: {}", finding.text),
        ),
    };
    let key = draft.key.clone();
    let job = jobs.at(&key, || draft);
    job.safety |= finding.effect == Effect::Hold;
    job.starts |= finding.check == sheet.start.check;
    job.touches |= finding.effect.takes_out() || spec.is_some_and(|check| moves(sheet, check));
    job.findings.push(finding.id);
    job.checks.push(finding.check.clone());
    job.why.push(finding.text.clone());
}

/// Whether what a check is found to be moves a chance, though it neither holds nor stops.
fn moves(sheet: &Sheet, check: &CheckSpec) -> bool {
    let code = &check.check;
    let ages = sheet.start.factors.iter().any(|factor| {
        let kept = factor.kept_by.as_ref();
        factor.check == *code || kept.is_some_and(|kept| kept.check == *code)
    });
    let shear = sheet.shear_fasteners.as_ref();
    ages || check.part.is_some() || shear.is_some_and(|shear| shear.spares_check == *code)
}

fn hold_tags(jobs: &mut Jobs, of: &OfUnit<'_>) {
    for hold in &of.unit.holds {
        let with = jobs.0.iter_mut();
        let explained = hold
            .finding_id
            .and_then(|finding| with.into_iter().find(|job| job.findings.contains(&finding)));
        if let Some(job) = explained {
            job.holds.push(hold.id);
            continue;
        }
        let key = Key::Hold(hold.id);
        let job = jobs.at(&key, || {
            let title = "Prove it and lift the hold tag";
            Draft::new(key.clone(), JobKind::Hold, title)
        });
        job.minutes = Some(PROOF_MINUTES);
        job.safety = true;
        job.touches = true;
        job.holds.push(hold.id);
        job.why
            .push(format!("hold tag by {}: {}", hold.placed_by, hold.reason));
    }
}

/// A battery that will freeze is no finding: it was good when it was read.
fn battery(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let Some((check, text)) = frozen_check(of.unit, of.shared) else {
        return;
    };
    let sheet = of.model.sheet;
    if let Some(spec) = sheet.check_spec(&check) {
        on_check(jobs, sheet, spec, text);
    }
}

/// Few spare shear fasteners aboard, by the sheet's limit for their count, are no finding either, and may be too few for this
/// storm.
fn fasteners(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let sheet = of.model.sheet;
    let Some(shear) = &sheet.shear_fasteners else {
        return;
    };
    let Some(spec) = sheet.check_spec(&shear.spares_check) else {
        return;
    };
    let low = spec
        .measure()
        .and_then(|measure| measure.limits.low.as_ref());
    let few = low.map(|low| low.marginal_at.value);
    let mut latest = of.unit.latest.iter();
    let counted = latest.find(|reading| reading.check == spec.check);
    let counted = counted.and_then(|reading| reading.value);
    if let Some(aboard) = counted.filter(|aboard| few.is_some_and(|few| *aboard <= few)) {
        let (aboard, carried) = (number(aboard, 0), shear.carried.value);
        let text = format!("{aboard} of {carried} spare shear fasteners aboard");
        on_check(jobs, sheet, spec, text);
    }
}

/// What puts a check right that no finding is open for.
fn on_check(jobs: &mut Jobs, sheet: &Sheet, spec: &CheckSpec, why: String) {
    let draft = put_right(sheet, spec);
    let key = draft.key.clone();
    let job = jobs.at(&key, || draft);
    job.touches = true;
    if !job.checks.contains(&spec.check) {
        job.checks.push(spec.check.clone());
        job.why.push(why);
    }
}

fn renewals(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let parts = of.state.document.parts.iter();
    for part in parts.filter(|part| part.advice == Advice::RenewNow) {
        let Some(spec) = of.model.sheet.part(&part.part) else {
            continue;
        };
        let key = Key::Part(part.part.clone());
        let job = jobs.at(&key, || {
            let title = format!("Renew the {}", spec.title);
            let draft = Draft::new(key.clone(), JobKind::Renewal, title);
            match &spec.job {
                Some(job) => Draft {
                    title: job.title.clone(),
                    ..draft.on_sheet(job.minutes.value, &job.parts)
                },
                None => draft,
            }
        });
        job.touches |= spec.effect.takes_out();
        job.renews = Some(part.part.clone());
        job.why.push(part.text.clone());
    }
}

fn tasks(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let owed = of.state.document.tasks.iter();
    for task in owed.filter(|task| task.state >= State::Due) {
        if !jobs.has(|job| job.tasks.contains(&task.task)) {
            of_task(jobs, of.model.sheet, task);
        }
    }
}

fn of_task(jobs: &mut Jobs, sheet: &Sheet, task: &TaskState) {
    let Some(spec) = sheet.task(&task.task) else {
        return;
    };
    let key = match &spec.renews {
        Some(part) => Key::Part(part.clone()),
        None => Key::Task(task.task.clone()),
    };
    let job = jobs.at(&key, || {
        Draft::new(key.clone(), JobKind::Task, &task.title)
            .on_sheet(spec.minutes.value, &spec.parts)
    });
    job.safety |= task.safety;
    // An overdue safety task bars the machine; a new part lasts longer.
    job.touches |= task.safety && task.state >= State::Overdue || spec.renews.is_some();
    job.renews = job.renews.take().or_else(|| spec.renews.clone());
    job.tasks.push(task.task.clone());
    job.why.push(task.text.clone());
}

/// A line of an order is the job that it does, or one of its own.
fn on_order(jobs: &mut Jobs, line: &OpenLine) {
    let covers = |job: &&mut Draft| {
        line.finding_id.is_some_and(|id| job.findings.contains(&id))
            || line
                .task
                .as_ref()
                .is_some_and(|task| job.tasks.contains(task))
            || (line.part.as_ref()).is_some_and(|part| job.key == Key::Part(part.clone()))
    };
    if let Some(job) = jobs.0.iter_mut().find(covers) {
        if !job.orders.contains(&line.order_id) {
            job.orders.push(line.order_id);
            job.needed.extend(&line.needed);
        }
        job.lines.0 += 1;
        job.lines.1 += usize::from(line.done);
        if let Some(minutes) = line.minutes.filter(|_| !line.done) {
            job.minutes = Some(match job.minutes_from {
                MinutesFrom::Order => job.minutes.unwrap_or(0.0).max(minutes),
                _ => minutes,
            });
            job.minutes_from = MinutesFrom::Order;
        }
        if !line.takes.is_empty() {
            job.takes.clone_from(&line.takes);
        }
    } else if !line.done {
        let key = Key::Line(line.id);
        let job = jobs.at(&key, || {
            let draft = Draft::new(key.clone(), JobKind::Line, &line.title);
            Draft {
                minutes: line.minutes,
                minutes_from: MinutesFrom::Order,
                takes: line.takes.clone(),
                ..draft
            }
        });
        job.orders.push(line.order_id);
        job.needed.extend(&line.needed);
    }
}

/// Where every line of a repair is done, a look at it is left.
fn all_but_proved(job: &mut Draft) {
    let (lines, done) = job.lines;
    if lines == 0 || done < lines || job.findings.is_empty() {
        return;
    }
    job.kind = JobKind::Proof;
    job.title = format!("Prove the repair: {}", job.title);
    job.minutes = Some(PROOF_MINUTES);
    job.minutes_from = MinutesFrom::Assumed;
    job.takes.clear();
}
