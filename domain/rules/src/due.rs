//! What is due (section 9 of the computation): a task's triggers, each with its own clock; the earliest wins, and none
//! silences another.
//!
//! Three clocks always run: running hours, the calendar, and events (a season's start, a storm). A trigger looks at what
//! was done and says when the task is next owed, with the window around it in which doing it keeps the rhythm: done
//! inside, the next counts from the date it was due; else from the date it was done.

mod calendar;
#[cfg(test)]
mod tests;

use std::cmp::Reverse;

use jiff::civil::Date;
use jiff::{Span, ToSpan};
use serde::{Deserialize, Serialize};

use crate::season::{Season, days_between};

pub use calendar::CalendarRule;

/// What brings a task due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(tag = "clock", rename_all = "snake_case", deny_unknown_fields)]
pub enum Trigger {
    /// Every so many running hours.
    Hours {
        /// Over 0.
        every_h: f64,
    },
    /// Every so many months. Where a month is too short for the day, its last day counts (RFC 7529, SKIP=BACKWARD: by
    /// RFC 5545 alone a task done on 31 August and owed half a year later would be owed a year later).
    Months {
        /// 1 or more.
        every: u16,
    },
    /// On the dates of an RFC 5545 recurrence rule.
    Dates {
        /// As RFC 5545 writes it, `FREQ=YEARLY;BYMONTH=9;BYMONTHDAY=1`.
        #[cfg_attr(feature = "schema", schema(value_type = String))]
        rule: CalendarRule,
    },
    /// Before the season: so many days ahead of its first day.
    BeforeSeason {
        /// 1 or more.
        lead_days: u16,
    },
    /// In the middle of the season.
    MidSeason,
    /// After the season: so many days after its last day.
    AfterSeason {
        /// 1 or more.
        within_days: u16,
    },
    /// After a storm in which the machine ran at least so long: so many days after it ended.
    AfterStorm {
        /// Running hours; 0 is every storm.
        at_least_h: f64,
        /// 1 or more.
        within_days: u16,
    },
}

impl Trigger {
    /// The field that is out of range, if any, and what it must be.
    pub fn fault(&self) -> Option<(&'static str, &'static str)> {
        let days = |days: u16| !(1..=366).contains(&days);
        match self {
            Trigger::Hours { every_h } => (!(0.1..=100_000.0).contains(every_h))
                .then_some(("every_h", "must be 0.1 to 100000 hours")),
            Trigger::Months { every } => {
                (!(1..=240).contains(every)).then_some(("every", "must be 1 to 240 months"))
            }
            Trigger::BeforeSeason { lead_days } => {
                days(*lead_days).then_some(("lead_days", "must be 1 to 366 days"))
            }
            Trigger::AfterSeason { within_days } => {
                days(*within_days).then_some(("within_days", "must be 1 to 366 days"))
            }
            Trigger::AfterStorm { at_least_h, .. } if !(0.0..=1000.0).contains(at_least_h) => {
                Some(("at_least_h", "must be 0 to 1000 hours"))
            }
            Trigger::AfterStorm { within_days, .. } => {
                days(*within_days).then_some(("within_days", "must be 1 to 366 days"))
            }
            Trigger::Dates { .. } | Trigger::MidSeason => None,
        }
    }
}

/// What a task says of when it is owed.
#[derive(Debug, Clone, Copy)]
pub struct Terms<'a> {
    /// What brings it due; the earliest wins.
    pub triggers: &'a [Trigger],
    /// The window either side of the due date, as a share of the interval, 0 to 0.5.
    pub tolerance: f64,
    /// Whether it is there for safety: it is put off to the end of its window and no further.
    pub safety: bool,
    /// Whether it is owed in storage too.
    pub storage: bool,
}

/// The task, done.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Done {
    /// The civil date at the depot.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub on: Date,
    /// The machine's running hours then.
    pub hours: f64,
}

/// A storm that is over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct PastStorm {
    /// The civil date it ended on.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub ended_on: Date,
    /// How long the machine ran in it.
    pub hours: f64,
}

/// What a task's dates hang on.
#[derive(Debug, Clone)]
pub struct Facts<'a> {
    /// The civil date at the depot.
    pub today: Date,
    /// From when the clocks run where nothing was done yet: when the machine came, or was first known.
    pub since: Done,
    /// When it was done, in any order.
    pub done: &'a [Done],
    /// Running hours now, read or estimated: a dead meter has an estimate, marked as such where it is shown.
    pub hours_now: f64,
    /// The season running, else the next to start; and the one before and after.
    pub seasons: [Season; 3],
    /// Storms that are over, in any order.
    pub storms: &'a [PastStorm],
    /// Whether the machine is in storage.
    pub stored: bool,
    /// Until when the task is put off, if it is.
    pub deferred_until: Option<Date>,
}

/// By which day the machine has run so many hours in all with chance 0.1, 0.5 and 0.9; a day that is past, or today, where
/// it has; `None`: not within 10 seasons.
pub type HoursAhead<'a> = dyn Fn(f64) -> [Option<Date>; 3] + 'a;

/// Where a task, or one of its triggers, stands. Ordered: what is more urgent is greater.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum State {
    /// Nothing to do.
    #[serde(rename = "not due")]
    NotDue,
    /// Put off, by a named person until a date.
    #[serde(rename = "deferred")]
    Deferred,
    /// Within a quarter of the interval ahead of its window.
    #[serde(rename = "coming")]
    Coming,
    /// Within its window.
    #[serde(rename = "due")]
    Due,
    /// Past its window.
    #[serde(rename = "overdue")]
    Overdue,
    /// Past half an interval.
    #[serde(rename = "long overdue")]
    LongOverdue,
}

impl State {
    /// As it is said and stored.
    pub fn as_str(self) -> &'static str {
        match self {
            State::NotDue => "not due",
            State::Deferred => "deferred",
            State::Coming => "coming",
            State::Due => "due",
            State::Overdue => "overdue",
            State::LongOverdue => "long overdue",
        }
    }

    /// How urgent, 0 to 5, as the states are ordered.
    pub fn rank(self) -> i16 {
        self as i16
    }
}

/// One trigger's answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Owed {
    /// Where it stands.
    pub state: State,
    /// The date due, or the likeliest (p50) of one that hours decide; absent where it is not within 10 seasons.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub on: Option<Date>,
    /// By when with chance 0.1; the same as `on` where the calendar decides.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub early: Option<Date>,
    /// By when with chance 0.9; the same as `on` where the calendar decides.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub late: Option<Date>,
    /// The running hours due, where hours decide.
    pub at_hours: Option<f64>,
}

/// What is owed of one task.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Due {
    /// The most urgent of its triggers' states, or that it is deferred.
    pub state: State,
    /// Which of its triggers decides, counted from 0: once something is due the most urgent, until then the earliest;
    /// absent where none owes anything.
    pub decides: Option<usize>,
    /// That trigger's date.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub on: Option<Date>,
    /// Each trigger, in the sheet's order; `None` for one that owes nothing (no storm yet, or in storage).
    pub triggers: Vec<Option<Owed>>,
}

impl Due {
    /// What the trigger that decides owes.
    pub fn deciding(&self) -> Option<&Owed> {
        self.triggers[self.decides?].as_ref()
    }
}

/// How far ahead of its window a task is coming, as a share of its interval.
const COMING: f64 = 0.25;
/// From where on it is long overdue, as a share of its interval.
const LONG: f64 = 0.5;

/// What is owed of a task of such terms.
pub fn due(task: &Terms<'_>, facts: &Facts<'_>, ahead: &HoursAhead<'_>) -> Due {
    let mut done: Vec<Done> = facts.done.to_vec();
    done.sort_by(|a, b| a.on.cmp(&b.on).then(a.hours.total_cmp(&b.hours)));
    let triggers: Vec<Option<Owed>> = task
        .triggers
        .iter()
        .map(|trigger| {
            // In storage a machine is left alone, but for what keeps it and what gets it ready for the next season.
            let prepares = matches!(trigger, Trigger::BeforeSeason { .. });
            if facts.stored && !task.storage && !prepares {
                return None;
            }
            owed(trigger, task.tolerance, &done, facts, ahead)
        })
        .collect();
    let told = triggers.iter().flatten();
    let state = told.map(|owed| owed.state).max().unwrap_or(State::NotDue);
    // A safety task is put off to the end of its window and no further.
    let deferred = facts
        .deferred_until
        .is_some_and(|until| facts.today <= until)
        && !(task.safety && state >= State::Overdue);
    let state = if deferred && state > State::NotDue {
        State::Deferred
    } else {
        state
    };
    let decides = deciding(&triggers, state);
    Due {
        state,
        decides,
        on: decides.and_then(|index| triggers[index].as_ref()?.on),
        triggers,
    }
}

fn deciding(triggers: &[Option<Owed>], state: State) -> Option<usize> {
    let told = triggers.iter().enumerate();
    let told = told.filter_map(|(index, owed)| Some((index, owed.as_ref()?)));
    let decides = told.min_by_key(|(_, owed)| {
        let urgency = (state >= State::Due).then_some(Reverse(owed.state));
        (urgency, owed.on.unwrap_or(Date::MAX))
    });
    decides.map(|(index, _)| index)
}

fn owed(
    trigger: &Trigger,
    tolerance: f64,
    done: &[Done],
    facts: &Facts<'_>,
    ahead: &HoursAhead<'_>,
) -> Option<Owed> {
    let today = facts.today;
    match trigger {
        Trigger::Hours { every_h } => {
            let due = last_hours(*every_h, tolerance, facts.since.hours, done) + every_h;
            let [early, on, late] = ahead(due);
            Some(Owed {
                state: state((facts.hours_now - due) / every_h, tolerance),
                on,
                early,
                late,
                at_hours: Some(due),
            })
        }
        Trigger::Months { every } => {
            let next = |from: Date| months_after(from, *every);
            calendar_due(next, tolerance, facts, done)
        }
        Trigger::Dates { rule } => calendar_due(|from| rule.after(from), tolerance, facts, done),
        Trigger::BeforeSeason { .. } | Trigger::MidSeason | Trigger::AfterSeason { .. } => {
            // The first of the three seasons in which it was not done. Seasons before the machine came are not owed.
            facts.seasons.iter().find_map(|season| {
                let event = of_season(trigger, *season)?;
                let satisfied = done
                    .iter()
                    .any(|done| event.counts_from <= done.on && done.on < event.counts_until);
                let known = facts.since.on <= season.ends;
                (!satisfied && known && today < event.counts_until)
                    .then(|| dated(event.on, event.interval, tolerance, today))
                    .flatten()
            })
        }
        Trigger::AfterStorm {
            at_least_h,
            within_days,
        } => {
            // The earliest storm that nothing was done since. One proof covers all storms before it.
            let last = done.last().map(|done| done.on);
            let storm = facts
                .storms
                .iter()
                .filter(|storm| storm.hours >= *at_least_h && storm.ended_on >= facts.since.on)
                .filter(|storm| last.is_none_or(|last| last < storm.ended_on))
                .min_by_key(|storm| storm.ended_on)?;
            let within = i32::from(*within_days);
            dated(
                days_after(storm.ended_on, within)?,
                within.max(STORM_INTERVAL_DAYS),
                tolerance,
                today,
            )
        }
    }
}

/// Running hours from which the next interval counts.
fn last_hours(every: f64, tolerance: f64, since: f64, done: &[Done]) -> f64 {
    done.iter().fold(since, |last, done| {
        let due = last + every;
        if (done.hours - due).abs() <= tolerance * every {
            due
        } else {
            done.hours.max(last)
        }
    })
}

/// A date that comes back by the calendar: `next` after it was done, or after the machine came.
fn calendar_due(
    next: impl Fn(Date) -> Option<Date>,
    tolerance: f64,
    facts: &Facts<'_>,
    done: &[Done],
) -> Option<Owed> {
    // From a date due to the one after it: from the day a machine came to its first date may be a day.
    let interval = |due: Date| next(due).map_or(365, |after| days_between(due, after).max(1));
    let mut last = facts.since.on;
    for done in done {
        let due = next(last)?;
        let window = f64::from(interval(due)) * tolerance;
        last = if f64::from(days_between(due, done.on).abs()) <= window {
            due
        } else {
            done.on.max(last)
        };
    }
    let due = next(last)?;
    dated(due, interval(due), tolerance, facts.today)
}

/// A season's event: when it is due, how long its interval is, and within which dates doing it counts for this season.
struct SeasonEvent {
    on: Date,
    interval: i32,
    counts_from: Date,
    counts_until: Date,
}

fn of_season(trigger: &Trigger, season: Season) -> Option<SeasonEvent> {
    let winter = crate::season::Winter::of(season.starts);
    let (starts, next) = (winter.starts(), winter.next().starts());
    let event = |on, interval, counts_from, counts_until| SeasonEvent {
        on,
        interval,
        counts_from,
        counts_until,
    };
    match trigger {
        // Inspections count from 1 July on as this season's, and so does this.
        Trigger::BeforeSeason { lead_days } => {
            let lead = i32::from(*lead_days);
            Some(event(days_after(season.starts, -lead)?, lead, starts, next))
        }
        Trigger::MidSeason => {
            let days = season.days();
            let from = days_after(season.starts, days / 4)?;
            Some(event(
                days_after(season.starts, days / 2)?,
                days,
                from,
                next,
            ))
        }
        // Until the next season begins to be prepared for, a year later.
        Trigger::AfterSeason { within_days } => {
            let within = i32::from(*within_days);
            let until = days_after(next, days_between(starts, season.ends))?;
            Some(event(
                days_after(season.ends, within)?,
                within,
                season.ends,
                until,
            ))
        }
        _ => None,
    }
}

fn dated(on: Date, interval: i32, tolerance: f64, today: Date) -> Option<Owed> {
    let late = f64::from(days_between(on, today)) / f64::from(interval.max(1));
    Some(Owed {
        state: state(late, tolerance),
        on: Some(on),
        early: Some(on),
        late: Some(on),
        at_hours: None,
    })
}

/// What is due a day or two after a storm has no interval of its own: it is overdue a tenth of a week later, and long overdue
/// after half of it (district default).
const STORM_INTERVAL_DAYS: i32 = 7;

/// Where it stands, `late` intervals after it was due (negative: before).
fn state(late: f64, tolerance: f64) -> State {
    if late < -tolerance - COMING {
        State::NotDue
    } else if late < -tolerance {
        State::Coming
    } else if late <= tolerance {
        State::Due
    } else if late <= LONG {
        State::Overdue
    } else {
        State::LongOverdue
    }
}

fn months_after(from: Date, months: u16) -> Option<Date> {
    from.checked_add(Span::new().try_months(months).ok()?).ok()
}

fn days_after(from: Date, days: i32) -> Option<Date> {
    from.checked_add(days.days()).ok()
}
