//! What is to be done again and again, and was, this winter and the last: the tasks of the sheets that no inspection answers.
//! Those that one does, and the tests of hidden safety functions, are in the rounds.

use jiff::civil::Date;
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
    let put_away = lately_of(machine, InspectionKind::Storage);
    let prepared = lately_of(machine, InspectionKind::PreSeason);
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
            let after = put_away.iter();
            done.extend(after.map(|at| (task, *at + SignedDuration::from_mins(40))));
        }
        if left_alone {
            continue;
        }
        if unanswered && by(|trigger| matches!(trigger, Trigger::BeforeSeason { .. })) {
            let after = prepared.iter();
            done.extend(after.map(|at| (task, *at + SignedDuration::from_mins(25))));
        }
        let Some(at) = lately(machine, &mut draw, task) else {
            continue;
        };
        done.push((task, at));
        if let Some(prepared) = prepared.last() {
            let earlier = since(machine, &mut draw, task, *prepared, at);
            done.extend(earlier.into_iter().map(|at| (task, at)));
        }
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

/// Its inspections of that kind this winter and the last.
fn lately_of(machine: &Machine<'_>, kind: InspectionKind) -> Vec<Timestamp> {
    let calendar = &machine.calendar;
    let first = Date::constant(calendar.winter() - 1, 7, 1);
    let inspections = machine.written.inspections.iter();
    let of_kind = inspections.filter(|one| one.kind == kind && calendar.date_of(one.at) >= first);
    of_kind.map(|one| one.at).collect()
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

/// What comes back by the month was done month by month since the machine was prepared for the winter, too.
fn since(
    machine: &Machine<'_>,
    draw: &mut Draw,
    task: &TaskSpec,
    prepared: Timestamp,
    last: Timestamp,
) -> Vec<Timestamp> {
    let months = |trigger: &Trigger| match trigger {
        Trigger::Months { every } => Some(DAY * 30 * i32::from(*every)),
        _ => None,
    };
    let Some(every) = task.triggers.iter().find_map(months) else {
        return Vec::new();
    };
    let calendar = &machine.calendar;
    let mut done = Vec::new();
    let mut at = last - every;
    while at > prepared {
        done.push(calendar.at_work(draw, at, at + DAY * 2));
        at -= every;
    }
    done
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
