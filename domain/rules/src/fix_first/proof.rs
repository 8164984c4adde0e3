//! What proves a machine: an inspection and a start.

use std::collections::BTreeSet;

use super::gather::{Jobs, PROOF_MINUTES};
use super::job::{Draft, JobKind, Key, MinutesFrom};
use super::weigh::OfUnit;
use crate::due::State;
use crate::season::{Winter, day_number};
use crate::sheet::{Sheet, TaskSpec};
use crate::timeline::day_in;
use crate::unit::proof::{Owed, owed};

/// A look at one check, minutes (common practice: two to four).
const CHECK_MINUTES: f64 = 3.0;
/// A start and a short run, minutes (common practice).
const START_MINUTES: f64 = 15.0;

/// A look at what nobody has looked at this season, or since a fault was reported.
pub(super) fn inspection(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let missing = owed(of.unit, of.clock, of.shared);
    let of_look = missing.iter().filter(|(what, _)| *what != Owed::Start);
    let why: Vec<String> = of_look.map(|(_, text)| text.clone()).collect();
    if why.is_empty() {
        return;
    }
    let key = Key::Inspection;
    let job = jobs.at(&key, || {
        Draft::new(key.clone(), JobKind::Inspection, "Inspect it in full")
    });
    job.why = why;
    job.inspects = true;
    job.touches = true;
    job.safety = true;
    if !missing.iter().any(|(what, _)| *what == Owed::Inspection) {
        job.title = "Look it over after the fault".to_owned();
        job.minutes = Some(PROOF_MINUTES);
        return;
    }
    let (minutes, tasks, on_sheet) = looked_at(of);
    job.minutes = Some(minutes);
    if on_sheet {
        job.minutes_from = MinutesFrom::Sheet;
    }
    // Tasks that its answers do are done with it.
    job.tasks = tasks;
}

/// How long it takes to answer what nobody has answered this season: by the sheet's tasks that answer most of it, and a few
/// minutes for each check that none does. And which tasks are done by that.
fn looked_at(of: &OfUnit<'_>) -> (f64, Vec<String>, bool) {
    let sheet = of.model.sheet;
    let rigging = of.unit.rigging;
    let began = day_number(Winter::of(of.shared.today).starts());
    let answered = |code: &str| {
        let reading = of.unit.latest.iter().find(|reading| reading.check == code);
        reading.is_some_and(|reading| {
            reading.at <= of.shared.as_of && day_in(reading.at, &of.shared.facts.zone) >= began
        })
    };
    let checks = sheet.checks.iter().filter(|check| {
        check.effect.takes_out()
            && check.check != sheet.start.check
            && sheet.check_concerns(&check.check, rigging)
            && !answered(&check.check)
    });
    let mut open: BTreeSet<&str> = checks.map(|check| check.check.as_str()).collect();
    let mut seen = open.clone();
    let tasks = || (sheet.tasks.iter()).filter(|task| rigging.concerned(task.only_for));
    let (mut minutes, mut on_sheet) = (0.0, false);
    loop {
        let answers = |task: &&TaskSpec| {
            let of_task = task.checks.iter();
            of_task
                .filter(|check| open.contains(check.as_str()))
                .count()
        };
        // Of a task that asks much else these few are looked at by themselves.
        let fits = |task: &&TaskSpec| answers(task) > 0 && 2 * answers(task) >= task.checks.len();
        let best = tasks().filter(fits).max_by_key(answers);
        let Some(task) = best else { break };
        for check in &task.checks {
            open.remove(check.as_str());
            seen.insert(check);
        }
        minutes += task.minutes.value;
        on_sheet = true;
    }
    minutes += CHECK_MINUTES * open.len() as f64;
    let done = tasks().filter(|task| {
        let mut checks = task.checks.iter();
        !task.checks.is_empty() && checks.all(|check| seen.contains(check.as_str()))
    });
    (
        minutes,
        done.map(|task| task.task.clone()).collect(),
        on_sheet,
    )
}

/// Whether a task is the proof start, by its checks.
fn is_start(sheet: &Sheet, task: &str) -> bool {
    let spec = sheet.task(task);
    spec.is_some_and(|spec| spec.checks.as_slice() == [sheet.start.check.clone()])
}

/// A start that is owed, or would prove a machine of which it is not certain that it starts.
pub(super) fn start(jobs: &mut Jobs, of: &OfUnit<'_>) {
    let sheet = of.model.sheet;
    if jobs.has(|job| job.starts) {
        return;
    }
    let task = sheet.tasks.iter().find(|task| is_start(sheet, &task.task));
    let missing = owed(of.unit, of.clock, of.shared);
    let missing = missing.into_iter().find(|(what, _)| *what == Owed::Start);
    let tasks = of.state.document.tasks.iter();
    let mut due = tasks.filter(|task| is_start(sheet, &task.task) && task.state >= State::Due);
    let factors = of.state.inputs.factors.iter();
    let mut starts = factors.filter(|factor| factor.factor == "start");
    let starts = starts.next();
    let floor = of.shared.facts.settings.renew_now_under;
    let doubtful = starts.is_some_and(|start| start.chance < floor);
    let due = due.next();
    if missing.is_none() && due.is_none() && !doubtful {
        return;
    }
    let key = Key::Start;
    let found_dead = of.clock.found_dead().is_some();
    let job = jobs.at(&key, || {
        let title = if found_dead {
            "Find why it did not start, and start it"
        } else {
            "Start it and let it run"
        };
        Draft::new(key.clone(), JobKind::Start, title)
    });
    // What keeps it from starting is longer than a start.
    if !found_dead {
        job.minutes = Some(task.map_or(START_MINUTES, |task| task.minutes.value));
        if task.is_some() {
            job.minutes_from = MinutesFrom::Sheet;
        }
    }
    job.starts = true;
    job.touches = true;
    job.why.extend(missing.map(|(_, text)| text));
    job.why
        .extend(starts.filter(|_| doubtful).map(|start| start.text.clone()));
    if job.why.is_empty() {
        job.why.extend(due.map(|task| task.text.clone()));
    }
    job.tasks.extend(due.map(|task| task.task.clone()));
}
