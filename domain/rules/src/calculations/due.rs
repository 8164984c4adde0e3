//! `due`: what is owed of a task; takes what a unit's tasks show under `inputs`, and its `hours_ahead` beside them.

use std::fmt;

use jiff::civil::Date;
use serde::de::{Error as _, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};

use super::running_hours::usage;
use super::wear_season::UsageInput;
use super::{between, list, not_negative};
use crate::Invalid;
pub use crate::due::Due as Output;
use crate::due::{Done, Facts, PastStorm, Terms, Trigger, due};
use crate::season::{Season, day_number};
use crate::sheet::task::{TOLERANCE, TRIGGERS_MAX};
use crate::snow_days::{Counted, counted};
use crate::unit::parts::{DatedStorm, Dates};

/// Times done, as often as there are rules of dates, and storms at most: each date is worked out from the one before.
const DATES_MAX: usize = 1_000;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DueInput))]
pub struct Input {
    /// What brings the task due, 1 to 8.
    #[serde(deserialize_with = "few_triggers")]
    pub triggers: Vec<Trigger>,
    /// The window either side of the due date, as a share of the interval, 0 to 0.5; 0.1 if absent.
    #[serde(default = "tolerance")]
    pub tolerance: f64,
    /// Whether it is there for safety: it is put off to the end of its window and no further.
    #[serde(default)]
    pub safety: bool,
    /// Whether it is owed in storage too.
    #[serde(default)]
    pub storage: bool,
    /// The civil date at the depot.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub today: Date,
    /// From when the clocks run where nothing was done yet.
    pub since: Done,
    /// When it was done, in any order.
    #[serde(default)]
    pub done: Vec<Done>,
    /// Running hours now.
    pub hours_now: f64,
    /// The season before, the one running (else the next to start), and the one after it.
    pub seasons: [Season; 3],
    /// Storms that are over, in any order.
    #[serde(default)]
    pub storms: Vec<PastStorm>,
    /// Whether the machine is in storage.
    #[serde(default)]
    pub stored: bool,
    /// Until when the task is put off, if it is.
    #[serde(default)]
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub deferred_until: Option<Date>,
    /// The machine's hours to come; absent, running hours tell a state and no date.
    #[serde(default)]
    pub hours_ahead: Option<HoursAhead>,
}

/// A machine's hours to come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct HoursAhead {
    /// How it is used.
    pub usage: UsageInput,
    /// Days of use count after this one: that of the last meter reading.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub after: Date,
    /// Its running hours then.
    pub hours: f64,
    /// The days of use to come in each future, one as likely as another.
    #[cfg_attr(feature = "schema", schema(value_type = Vec<Vec<String>>))]
    pub days_of_use: Vec<Vec<Date>>,
    /// The last day that anything is dated on.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// A storm to come: its hours stand for the days of use that it covers.
    #[serde(default)]
    pub storm: Option<StormAhead>,
}

/// A storm to come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StormAhead {
    /// Its first day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub first_day: Date,
    /// Its last day.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub last_day: Date,
    /// How long the machine runs in it.
    pub hours: f64,
}

fn tolerance() -> f64 {
    TOLERANCE
}

/// At most 8, and not one more is read: reading a rule of dates finds its first date.
fn few_triggers<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<Trigger>, D::Error> {
    struct Few;
    impl<'de> Visitor<'de> for Few {
        type Value = Vec<Trigger>;

        fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
            write!(f, "a list of 1 to {TRIGGERS_MAX} triggers")
        }

        fn visit_seq<A: SeqAccess<'de>>(self, mut given: A) -> Result<Self::Value, A::Error> {
            let mut triggers = Vec::new();
            while triggers.len() < TRIGGERS_MAX {
                let Some(trigger) = given.next_element()? else {
                    return Ok(triggers);
                };
                triggers.push(trigger);
            }
            match given.next_element::<serde::de::IgnoredAny>()? {
                None => Ok(triggers),
                Some(_) => Err(A::Error::custom(format_args!(
                    "more than {TRIGGERS_MAX}; give at most so many"
                ))),
            }
        }
    }
    deserializer.deserialize_seq(Few)
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    check(input)?;
    let terms = Terms {
        triggers: &input.triggers,
        tolerance: input.tolerance,
        safety: input.safety,
        storage: input.storage,
    };
    let facts = Facts {
        today: input.today,
        since: input.since,
        done: &input.done,
        hours_now: input.hours_now,
        seasons: input.seasons,
        storms: &input.storms,
        stored: input.stored,
        deferred_until: input.deferred_until,
    };
    let Some(ahead) = &input.hours_ahead else {
        return Ok(due(&terms, &facts, &|_| [None; 3]));
    };
    let use_ahead = UseAhead::of(ahead).map_err(|fault| fault.within("hours_ahead"))?;
    Ok(due(&terms, &facts, &|hours| use_ahead.reached_by(hours)))
}

fn check(input: &Input) -> Result<(), Invalid> {
    if input.triggers.is_empty() {
        let problem = "is empty; give at least one: without one the task is never due";
        return Err(Invalid::new("triggers", problem));
    }
    for (index, trigger) in input.triggers.iter().enumerate() {
        if let Some((name, problem)) = trigger.fault() {
            return Err(Invalid::new(format!("triggers[{index}].{name}"), problem));
        }
    }
    between("tolerance", input.tolerance, 0.0, 0.5)?;
    dated("today", input.today)?;
    done("since", &input.since)?;
    let rules = input.triggers.iter();
    let rules = rules.filter(|trigger| matches!(trigger, Trigger::Dates { .. }));
    few("done", &input.done, DATES_MAX / rules.count().max(1))?;
    for (index, one) in input.done.iter().enumerate() {
        done(&format!("done[{index}]"), one)?;
    }
    not_negative("hours_now", input.hours_now)?;
    for (index, season) in input.seasons.iter().enumerate() {
        dated(&format!("seasons[{index}].starts"), season.starts)?;
        dated(&format!("seasons[{index}].ends"), season.ends)?;
        in_order(
            &format!("seasons[{index}].ends"),
            season.starts,
            season.ends,
        )?;
    }
    few("storms", &input.storms, DATES_MAX)?;
    for (index, storm) in input.storms.iter().enumerate() {
        dated(&format!("storms[{index}].ended_on"), storm.ended_on)?;
        not_negative(format_args!("storms[{index}].hours"), storm.hours)?;
    }
    input
        .deferred_until
        .map_or(Ok(()), |until| dated("deferred_until", until))
}

fn done(field: &str, done: &Done) -> Result<(), Invalid> {
    dated(&format!("{field}.on"), done.on)?;
    not_negative(format_args!("{field}.hours"), done.hours)
}

fn few<T>(field: &str, entries: &[T], most: usize) -> Result<(), Invalid> {
    if entries.len() <= most {
        return Ok(());
    }
    let problem = format!("has {} entries; give at most {most}", entries.len());
    Err(Invalid::new(field, problem))
}

/// Where `last` comes before `first`, what is wrong.
fn in_order(field: &str, first: Date, last: Date) -> Result<(), Invalid> {
    if first <= last {
        return Ok(());
    }
    let problem = format!("{last} is before {first}; give the day itself or one after it");
    Err(Invalid::new(field, problem))
}

/// A date in whose neighbourhood there are others.
fn dated(field: &str, date: Date) -> Result<(), Invalid> {
    if (1900..=2200).contains(&date.year()) {
        return Ok(());
    }
    let problem = format!("{date} is out of range; give a date from 1900 to 2200");
    Err(Invalid::new(field, problem))
}

/// Hours to come, tabulated.
struct UseAhead {
    usage: crate::hours::Usage,
    after: i32,
    hours: f64,
    days: Counted,
    storm: Option<DatedStorm>,
}

impl UseAhead {
    fn of(ahead: &HoursAhead) -> Result<Self, Invalid> {
        let given = &ahead.usage;
        let usage = usage(
            given.shape,
            given.prior_days,
            given.prior_hours_per_day,
            given.run_hours,
            given.snow_days,
        )
        .map_err(|fault| fault.within("usage"))?;
        dated("after", ahead.after)?;
        not_negative("hours", ahead.hours)?;
        dated("until", ahead.until)?;
        in_order("until", ahead.after, ahead.until)?;
        list("days_of_use", &ahead.days_of_use)?;
        if ahead.days_of_use.is_empty() {
            let problem = "is empty; give at least one future, without a day if none is to come";
            return Err(Invalid::new("days_of_use", problem));
        }
        let days: usize = ahead.days_of_use.iter().map(Vec::len).sum();
        let span = i64::from(day_number(ahead.until)) - i64::from(day_number(ahead.after));
        if days > 100_000 || span.max(0) * ahead.days_of_use.len() as i64 > 1_000_000 {
            let problem = "is too much: give at most 100,000 days, and futures times days until `until` at most a million";
            return Err(Invalid::new("days_of_use", problem));
        }
        let storm = ahead.storm.map(|storm| {
            dated("storm.first_day", storm.first_day)?;
            dated("storm.last_day", storm.last_day)?;
            in_order("storm.last_day", storm.first_day, storm.last_day)?;
            not_negative("storm.hours", storm.hours)?;
            Ok(DatedStorm {
                first_day: day_number(storm.first_day),
                last_day: day_number(storm.last_day),
                hours: storm.hours,
            })
        });
        let (after, until) = (day_number(ahead.after), day_number(ahead.until));
        let futures = ahead.days_of_use.iter();
        let counts = futures.map(|days| {
            let days = days.iter().map(|day| day_number(*day));
            counted(after, until, days.filter(|day| *day > after))
        });
        Ok(UseAhead {
            usage,
            after,
            hours: ahead.hours,
            days: Counted::new(after, counts.collect()),
            storm: storm.transpose()?,
        })
    }

    fn reached_by(&self, hours: f64) -> [Option<Date>; 3] {
        let mut dates = Dates::new(self.usage, self.days.days(), self.after, self.storm);
        let found = dates.reached_by([Some((hours - self.hours).max(0.0))]);
        [found.p10, found.p50, found.p90]
    }
}
