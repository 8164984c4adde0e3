//! What is owed of a unit's tasks (section 9): its sheet's tasks, what was done of them, and when they are next due.

use std::cmp::Ordering;
use std::fmt::{self, Display};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::Shared;
use super::clock::UnitClock;
use super::parts::Running;
use crate::because::{day, number, sentence};
use crate::calculations::due::Input;
use crate::due::{Done, Due, Facts, Owed, PastStorm, State, Trigger, due};
use crate::facts::{DeferralFacts, Fitting, InspectionKind, UnitFacts};
use crate::season::date_of;
use crate::sheet::{Sheet, TaskSpec};
use crate::timeline::day_in;

mod schedule;

pub use schedule::{Kept, kept};

/// A task of a unit as published.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct TaskState {
    /// The task on the sheet.
    pub task: String,
    /// What a technician calls it.
    pub title: String,
    /// Where it stands.
    pub state: State,
    /// The date due, or the likeliest (p50) of one that running hours decide; none: not within 10 seasons.
    pub on: Option<Date>,
    /// By when with chance 0.1; the same as `on` where the calendar decides.
    pub early: Option<Date>,
    /// By when with chance 0.9.
    pub late: Option<Date>,
    /// The running hours due, where hours decide.
    pub at_hours: Option<f64>,
    /// Whether it is there for safety.
    pub safety: bool,
    /// Labour, minutes.
    pub minutes: f64,
    /// Until when it is put off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub deferred_until: Option<Date>,
    /// Said for people.
    pub text: String,
}

/// The unit's tasks, most urgent first, then by date.
pub fn tasks(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    sheet: &Sheet,
    running: &Running<'_>,
) -> Vec<TaskState> {
    if sheet.tasks.is_empty() {
        return Vec::new();
    }
    let mut states = owed(shared, unit, clock, sheet, running, |state, _, _| state);
    states.sort_by(urgency);
    states
}

/// The same, each with the `due` calculation's input but for the hours to come.
pub fn tasks_with_inputs(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    sheet: &Sheet,
    running: &Running<'_>,
) -> Vec<(TaskState, Input)> {
    let mut states = owed(shared, unit, clock, sheet, running, |state, task, facts| {
        (state, inputs(task, facts))
    });
    states.sort_by(|(a, _), (b, _)| urgency(a, b));
    states
}

fn urgency(a: &TaskState, b: &TaskState) -> Ordering {
    let date = |state: &TaskState| state.on.unwrap_or(Date::MAX);
    b.state.cmp(&a.state).then_with(|| date(a).cmp(&date(b)))
}

/// What `told` makes of each task that concerns the unit as it is rigged, of where it stands and of what that hangs on.
fn owed<T>(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    sheet: &Sheet,
    running: &Running<'_>,
    told: impl Fn(TaskState, &TaskSpec, &Facts<'_>) -> T,
) -> Vec<T> {
    let owner = Owner::of(shared, unit, clock);
    let concern = |task: &&TaskSpec| unit.rigging.concerned(task.only_for);
    let tasks = sheet.tasks.iter().filter(concern).map(|task| {
        let done = done_of(shared, unit, clock, task);
        let deferral = deferral_of(shared, unit, task);
        let facts = owner.facts(shared, &done, deferral);
        let ahead = |hours| running.hours_reached_by(hours);
        let found = due(&task.terms(), &facts, &ahead);
        let state = state_of(task, &found, done.last().copied(), deferral);
        told(state, task, &facts)
    });
    tasks.collect()
}

fn inputs(task: &TaskSpec, facts: &Facts<'_>) -> Input {
    Input {
        triggers: task.triggers.clone(),
        tolerance: task.tolerance,
        safety: task.safety,
        storage: task.storage,
        today: facts.today,
        since: facts.since,
        done: facts.done.to_vec(),
        hours_now: facts.hours_now,
        seasons: facts.seasons,
        storms: facts.storms.to_vec(),
        stored: facts.stored,
        deferred_until: facts.deferred_until,
        hours_ahead: None,
    }
}

/// What all tasks of a unit share.
struct Owner {
    since: Done,
    hours_now: f64,
    stored: bool,
    storms: Vec<PastStorm>,
}

impl Owner {
    fn of(shared: &Shared<'_>, unit: &UnitFacts, clock: &UnitClock<'_>) -> Self {
        let zone = &shared.facts.zone;
        let past = shared.facts.storms.iter();
        let past = past.filter(|storm| storm.ends_at <= shared.as_of);
        let storms = past.map(|storm| PastStorm {
            ended_on: date_of(day_in(storm.ends_at, zone)),
            hours: clock.hours_at(storm.ends_at, shared) - clock.hours_at(storm.starts_at, shared),
        });
        // What was done before anything was kept left no trace: the clocks run from there.
        let since = clock.kept_since.unwrap_or(shared.as_of).min(shared.as_of);
        Owner {
            since: Done {
                on: date_of(day_in(since, zone)),
                hours: clock.hours_at(since, shared),
            },
            hours_now: clock.hours_at(shared.as_of, shared),
            stored: is_stored(shared, unit, clock),
            storms: storms.collect(),
        }
    }

    fn facts<'a>(
        &'a self,
        shared: &Shared<'_>,
        done: &'a [Done],
        deferral: Option<&DeferralFacts>,
    ) -> Facts<'a> {
        let days = &shared.snow_days;
        Facts {
            today: shared.today,
            since: self.since,
            done,
            hours_now: self.hours_now,
            seasons: [days.last_season, days.this_season, days.next_season],
            storms: &self.storms,
            stored: self.stored,
            deferred_until: deferral.map(|deferral| deferral.until),
        }
    }
}

/// In storage: inspected for it, and neither started nor inspected for anything else since.
fn is_stored(shared: &Shared<'_>, unit: &UnitFacts, clock: &UnitClock<'_>) -> bool {
    let newest = |storage: bool| {
        let inspections = unit.inspections.iter();
        let of_kind = inspections.filter(|one| (one.kind == InspectionKind::Storage) == storage);
        let seen = of_kind.filter(|one| one.at <= shared.as_of);
        seen.map(|one| one.at).max()
    };
    let out = newest(false).max(clock.last_run().map(|(at, _)| at));
    newest(true).is_some_and(|stored| out.is_none_or(|out| out <= stored))
}

/// When the task was done: said so, shown by an inspection that answered its checks, or by the new part; in order.
fn done_of(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    task: &TaskSpec,
) -> Vec<Done> {
    let said = unit.tasks_done.iter().filter(|done| done.task == task.task);
    let said = said.map(|done| (done.at, done.hours));
    let renewed = unit
        .parts
        .iter()
        .filter(|path| path.how == Fitting::Renewed && Some(&path.part) == task.renews.as_ref());
    let renewed = renewed.filter_map(|path| Some((path.fitted_at?, path.fitted_hours)));
    // A start is a proof start, whoever noted it and how.
    let sheet = shared.facts.sheets.get(&unit.model);
    let is_start = sheet.is_some_and(|sheet| *task.checks == [sheet.start.check.as_str()]);
    let starts = unit.starts.iter().filter(|start| is_start && start.started);
    let starts = starts.map(|start| (start.at, None));
    let done = said
        .chain(renewed)
        .chain(starts)
        .filter(|(at, _)| *at <= shared.as_of);
    let mut done: Vec<Done> = done
        .map(|(at, hours)| Done {
            on: date_of(day_in(at, &shared.facts.zone)),
            hours: clock.noted(at, hours, shared),
        })
        .collect();
    done.sort_by(|a, b| a.on.cmp(&b.on).then(a.hours.total_cmp(&b.hours)));
    done
}

/// The deferral in force that reaches furthest.
fn deferral_of<'u>(
    shared: &Shared<'_>,
    unit: &'u UnitFacts,
    task: &TaskSpec,
) -> Option<&'u DeferralFacts> {
    let deferrals = unit.deferrals.iter();
    let own = deferrals.filter(|one| one.task == task.task && one.until >= shared.today);
    own.max_by_key(|one| (one.until, one.id))
}

fn state_of(
    task: &TaskSpec,
    found: &Due,
    last: Option<Done>,
    deferral: Option<&DeferralFacts>,
) -> TaskState {
    let owed = found.deciding();
    let decides = found.decides.map(|index| &task.triggers[index]);
    TaskState {
        task: task.task.clone(),
        title: task.title.clone(),
        state: found.state,
        on: owed.and_then(|owed| owed.on),
        early: owed.and_then(|owed| owed.early),
        late: owed.and_then(|owed| owed.late),
        at_hours: owed.and_then(|owed| owed.at_hours).map(tenth),
        safety: task.safety,
        minutes: task.minutes.value,
        deferred_until: deferral.map(|deferral| deferral.until),
        text: text(task, found.state, owed.zip(decides), last, deferral),
    }
}

fn tenth(hours: f64) -> f64 {
    (hours * 10.0).round() / 10.0
}

fn text(
    task: &TaskSpec,
    state: State,
    decides: Option<(&Owed, &Trigger)>,
    last: Option<Done>,
    deferral: Option<&DeferralFacts>,
) -> String {
    let owed = fmt::from_fn(|text| {
        let Some((owed, trigger)) = decides else {
            return text.write_str(": nothing owed");
        };
        let word = match state {
            State::NotDue | State::Coming | State::Deferred => "due",
            State::Due => "due now, its date",
            State::Overdue => "overdue, its date",
            State::LongOverdue => "long overdue, its date",
        };
        write!(text, ": {word} {}, {}", when(owed), why(trigger))
    });
    let done = fmt::from_fn(|text| match last {
        Some(done) => write!(text, "; last done {}", day(done.on)),
        None => text.write_str("; not on record as done"),
    });
    let stands = match state {
        State::Deferred => Some("put off"),
        State::Overdue | State::LongOverdue => Some(
            "a safety task is put off to the end of its window and no further, so it is owed although put off",
        ),
        _ => None,
    };
    let put_off = fmt::from_fn(|text| match deferral.zip(stands) {
        Some((deferral, stands)) => write!(
            text,
            "; {stands} until {} by {}: {}",
            day(deferral.until),
            deferral.by,
            deferral.reason
        ),
        None => Ok(()),
    });
    sentence(format_args!("{}{owed}{done}{put_off}", task.title))
}

fn when(owed: &Owed) -> impl Display {
    fmt::from_fn(move |text| {
        match (owed.at_hours, owed.on) {
            (Some(hours), Some(_)) => write!(text, "at {} h, about ", number(hours, 0))?,
            (Some(hours), None) => write!(text, "at {} h, ", number(hours, 0))?,
            (None, _) => {}
        }
        let Some(on) = owed.on else {
            return text.write_str("not within 10 seasons");
        };
        write!(text, "{}", day(on))?;
        if owed.at_hours.is_none() || owed.early == owed.late {
            return Ok(());
        }
        let between = |text: &mut fmt::Formatter<'_>, date: Option<Date>| match date {
            Some(date) => write!(text, "{}", day(date)),
            None => text.write_str("after 10 seasons"),
        };
        text.write_str(" (8 in 10 between ")?;
        between(text, owed.early)?;
        text.write_str(" and ")?;
        between(text, owed.late)?;
        text.write_str(")")
    })
}

fn why(trigger: &Trigger) -> impl Display {
    fmt::from_fn(move |text| match trigger {
        Trigger::Hours { every_h } => write!(text, "every {} h", number(*every_h, 1)),
        Trigger::Months { every: 1 } => text.write_str("every month"),
        Trigger::Months { every: 12 } => text.write_str("every year"),
        Trigger::Months { every } => write!(text, "every {every} months"),
        Trigger::Dates { rule } => write!(text, "by the calendar rule {rule}"),
        Trigger::BeforeSeason { lead_days } => write!(text, "{lead_days} days before the season"),
        Trigger::MidSeason => text.write_str("in the middle of the season"),
        Trigger::AfterSeason { within_days } => {
            write!(text, "within {within_days} days after the season")
        }
        Trigger::AfterStorm { within_days: 1, .. } => text.write_str("the day after a storm"),
        Trigger::AfterStorm { within_days, .. } => {
            write!(text, "within {within_days} days after a storm")
        }
    })
}
