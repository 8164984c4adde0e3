//! When each machine of a depot can be ready, and whether there is labour enough until the season starts.
//!
//! The queue has the plan's order, what the plan leaves out behind it. Technicians work as one pool: their weekly minutes
//! are spread evenly over the seven days, since which days somebody works is not entered. Each day's minutes go to the first
//! job of the queue whose parts are there, what is left of them to the next; a job that waits for parts holds nobody up and has its
//! place again on the day they come. The way there is paid once, before the first job. A job begun is not lost when one
//! before it gets its parts; it goes on when that one is done. Within these rules nothing is rounded: minutes are counted in
//! seven-thousandths.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use uuid::Uuid;

use super::spent;
use crate::season::days_between;

/// What is a minute here: thousandths, and sevenths for the days of a week.
const DAYS_A_WEEK: u64 = 7;
const PARTS_A_MINUTE: u64 = 1000 * DAYS_A_WEEK;

/// How far ahead anybody looks, days: ten years.
const DAYS_MAX: usize = 3_653;

/// What a technician works for a depot over some time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hours {
    /// The first day.
    pub from: Date,
    /// The first day on which it no longer holds; `None` until further notice.
    pub until: Option<Date>,
    /// Minutes a week.
    pub weekly_minutes: u32,
}

/// A job that waits to be done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Queued {
    /// The machine it is done for.
    pub unit: Uuid,
    /// Labour, minutes, at least 0.
    pub minutes: f64,
    /// The day on which the last of its parts is there: today or earlier where all are, `None` where nobody knows.
    pub parts_on: Option<Date>,
}

/// The labour of a depot, and what is asked of it.
#[derive(Debug, Clone, Copy)]
pub struct Labour<'a> {
    /// Its technicians' hours; any number at a time.
    pub hours: &'a [Hours],
    /// What a visit costs before any work is done, minutes, at least 0.
    pub travel_minutes: f64,
    /// The day it is, there; its minutes count in full.
    pub today: Date,
    /// The day on which the season starts, there.
    pub season_starts: Date,
}

/// When a machine can be ready.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ready {
    /// The machine.
    pub unit: Uuid,
    /// The day on which the last of all its parts is there; `None` where nobody knows.
    pub parts_on: Option<Date>,
    /// The day on which the last of its jobs is done; `None` where parts or labour do not come within ten years.
    pub ready_on: Option<Date>,
    /// Whether that is before the day on which the season starts.
    pub before_season: bool,
}

/// Open work against the labour there is until the season starts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Load {
    /// Minutes of all that is queued, with travel.
    pub open_minutes: f64,
    /// Minutes of all technicians from today to the day before the season starts.
    pub left_minutes: f64,
}

impl Labour<'_> {
    /// When each machine of the queue can be ready, in the order in which the queue first names them.
    pub fn ready(&self, queue: &[Queued]) -> Vec<Ready> {
        let done = self.done(queue);
        let mut units: Vec<Ready> = Vec::new();
        let mut places = BTreeMap::new();
        for (job, done) in queue.iter().zip(done) {
            // `None` is later than any day.
            let later = |one: Option<Date>, other: Option<Date>| Some(one?.max(other?));
            let place = *places.entry(job.unit).or_insert(units.len());
            if place == units.len() {
                units.push(Ready {
                    unit: job.unit,
                    parts_on: job.parts_on,
                    ready_on: done,
                    before_season: false,
                });
            }
            let ready = &mut units[place];
            ready.parts_on = later(ready.parts_on, job.parts_on);
            ready.ready_on = later(ready.ready_on, done);
        }
        for ready in &mut units {
            ready.before_season = ready.ready_on.is_some_and(|day| day < self.season_starts);
        }
        units
    }

    /// Open work against the labour there is.
    pub fn load(&self, queue: &[Queued]) -> Load {
        let work: f64 = queue.iter().map(|job| job.minutes).sum();
        let travel = if queue.is_empty() {
            0.0
        } else {
            self.travel_minutes
        };
        let left: f64 = (self.hours.iter())
            .map(|hours| {
                let from = hours.from.max(self.today);
                let until = hours
                    .until
                    .map_or(self.season_starts, |until| until.min(self.season_starts));
                f64::from(days_between(from, until).max(0)) * f64::from(hours.weekly_minutes)
            })
            .sum();
        Load {
            open_minutes: travel + work,
            left_minutes: left / DAYS_A_WEEK as f64,
        }
    }

    /// The day on which each job is done.
    fn done(&self, queue: &[Queued]) -> Vec<Option<Date>> {
        let parts = |minutes: f64| spent(minutes) * DAYS_A_WEEK;
        let mut need: Vec<u64> = queue.iter().map(|job| parts(job.minutes)).collect();
        let mut travel = parts(self.travel_minutes);
        let mut done = vec![None; queue.len()];
        // Those that still wait for parts, the last to get them first.
        let arrives = |place: &usize| queue[*place].parts_on;
        let mut waits: Vec<usize> = (0..queue.len())
            .filter(|place| arrives(place).is_some())
            .collect();
        waits.sort_by_key(|place| std::cmp::Reverse(arrives(place)));
        let mut can_begin = BTreeSet::new();
        let mut rate = Rate::new(self.hours);
        let mut day = self.today;
        for _ in 0..DAYS_MAX {
            while let Some(place) = waits.pop_if(|place| arrives(place) <= Some(day)) {
                can_begin.insert(place);
            }
            let mut left = rate.on(day);
            if !can_begin.is_empty() {
                left -= take(&mut travel, left);
            }
            while let Some(first) = can_begin.first().copied().filter(|_| travel == 0) {
                left -= take(&mut need[first], left);
                if need[first] > 0 {
                    break;
                }
                done[first] = Some(day);
                can_begin.pop_first();
            }
            if can_begin.is_empty() && waits.is_empty() {
                break;
            }
            let Ok(next) = day.tomorrow() else { break };
            day = next;
        }
        done
    }
}

/// Takes off as much of a need as there is left; answers with how much.
fn take(need: &mut u64, left: u64) -> u64 {
    let taken = left.min(*need);
    *need -= taken;
    taken
}

/// What all technicians together work on a day, asked day after day.
struct Rate {
    /// The days on which it changes, and by how many weekly minutes, the last first.
    changes: Vec<(Date, i64)>,
    weekly_minutes: i64,
}

impl Rate {
    fn new(hours: &[Hours]) -> Self {
        let mut changes = Vec::with_capacity(2 * hours.len());
        for hours in hours
            .iter()
            .filter(|hours| hours.until.is_none_or(|until| until > hours.from))
        {
            let by = i64::from(hours.weekly_minutes);
            changes.push((hours.from, by));
            changes.extend(hours.until.map(|until| (until, -by)));
        }
        changes.sort_by_key(|change| std::cmp::Reverse(change.0));
        Rate {
            changes,
            weekly_minutes: 0,
        }
    }

    /// A seventh of a week's.
    fn on(&mut self, day: Date) -> u64 {
        while let Some((_, by)) = self.changes.pop_if(|change| change.0 <= day) {
            self.weekly_minutes += by;
        }
        self.weekly_minutes as u64 * (PARTS_A_MINUTE / DAYS_A_WEEK)
    }
}
