//! What is to be done again and again, and was: the tasks of the sheets that no inspection answers. Those that one
//! does, and the tests of hidden safety functions, are in the rounds.

use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::due::Trigger;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::TaskSpec;

use super::cases::{self, Case};
use super::draw::Draw;
use super::machine::{Machine, noted};
use super::plan::TaskDone;

const DAY: SignedDuration = SignedDuration::from_hours(24);

/// Share of the tasks that somebody has let slip.
const LET_SLIP: f64 = 0.01;

/// Writes down when a machine's tasks were done last.
pub fn done(machine: &mut Machine<'_>, seed: u64, case: Option<Case>) {
    let mut draw = Draw::new(seed, &format!("tasks {}", machine.written.tag));
    let left_alone = matches!(case, Some(Case::NotInspected | Case::Stood240Days));
    let put_away = last_of(machine, InspectionKind::Storage);
    let prepared = last_of(machine, InspectionKind::PreSeason);
    let sheet = machine.sheet;
    let work = machine.work();
    let theirs = sheet
        .tasks
        .iter()
        .filter(|task| work.concerned(task.only_for) && !task.safety);
    let mut done = Vec::new();
    for task in theirs {
        if case == Some(Case::Deferred) && task.task == cases::DEFERRED_TASK {
            continue;
        }
        let unanswered = task.checks.is_empty();
        let by = |kind: fn(&Trigger) -> bool| task.triggers.iter().any(kind);
        if unanswered && by(|trigger| matches!(trigger, Trigger::AfterSeason { .. })) {
            done.extend(put_away.map(|at| (task, at + SignedDuration::from_mins(40))));
        }
        if left_alone {
            continue;
        }
        if unanswered && by(|trigger| matches!(trigger, Trigger::BeforeSeason { .. })) {
            done.extend(prepared.map(|at| (task, at + SignedDuration::from_mins(25))));
        }
        done.extend(lately(machine, &mut draw, task).map(|at| (task, at)));
    }
    let now = machine.calendar.now;
    done.retain(|(_, at)| *at <= now);
    let dead = machine.meter_dead_from;
    for (task, at) in done {
        let metered = dead.is_none_or(|from| at < from);
        let hours = metered.then(|| noted(machine.hours_at(at)));
        machine.written.tasks.push(TaskDone {
            id: draw.id(at),
            task: task.task.clone(),
            at,
            run_hours: hours,
        });
    }
    machine.written.tasks.sort_by_key(|task| task.at);
}

fn last_of(machine: &Machine<'_>, kind: InspectionKind) -> Option<Timestamp> {
    let mut inspections = machine.written.inspections.iter().rev();
    inspections.find(|one| one.kind == kind).map(|one| one.at)
}

/// When a task was last done that hours or months bring due: so long ago that it is not yet due again, but for a few.
fn lately(machine: &Machine<'_>, draw: &mut Draw, task: &TaskSpec) -> Option<Timestamp> {
    let now = machine.calendar.now;
    let share = if draw.chance(LET_SLIP) {
        draw.between(1.15, 1.4)
    } else {
        draw.between(0.05, 0.85)
    };
    let instants = task.triggers.iter().filter_map(|trigger| match trigger {
        Trigger::Months { every } => {
            let days = share * 30.4 * f64::from(*every);
            Some(now - SignedDuration::from_secs_f64(days * 86_400.0))
        }
        Trigger::Hours { every_h } => hours_ago(machine, share * every_h),
        _ => None,
    });
    let at = instants.max()?;
    let at = machine.calendar.at_work(draw, at, (at + DAY * 3).min(now));
    Some(at.min(now - SignedDuration::from_hours(5)))
}

/// The evening when it had so many hours less than now; `None` where it never had.
fn hours_ago(machine: &Machine<'_>, hours: f64) -> Option<Timestamp> {
    let mut left = hours;
    for (day, ran) in machine.ran.iter().rev() {
        left -= ran;
        if left <= 0.0 {
            return Some(machine.calendar.at(*day, 17.5));
        }
    }
    None
}
