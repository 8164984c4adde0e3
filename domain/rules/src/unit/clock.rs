//! A unit's own time: its meter, its use, its starts, and the order of the parts on it.

use jiff::Timestamp;

use super::Shared;
use super::going_dead::GoingDead;
use crate::facts::{FittedPartFacts, Fitting, UnitFacts};
use crate::hours::Usage;
use crate::season::date_of;
use crate::sheet::{Clock, Exposure, LifeSpec, Sheet};
use crate::snow_days::DaysOfUse;
use crate::timeline::{Timeline, day_in};

/// A unit's time.
#[derive(Debug, Clone)]
pub struct UnitClock<'a> {
    /// Its meter.
    timeline: Timeline,
    /// What its hours are counted against.
    exposure: Exposure,
    /// Its use.
    pub usage: Usage,
    /// Attempts to start up to now, ascending; a good one after a bad one of the same instant.
    pub starts: Vec<Attempt>,
    /// Since when anything was kept of it.
    pub kept_since: Option<Timestamp>,
    /// What makes it go dead sooner.
    pub going_dead: GoingDead<'a>,
    /// The paths on this unit: of each part of the sheet in the order in which they were on it, part by part.
    paths: Vec<&'a FittedPartFacts>,
    /// Where those of each part end.
    path_ends: Vec<usize>,
}

/// Somebody tried to start it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attempt {
    /// When.
    pub at: Timestamp,
    /// The day, as a day number.
    pub day: i32,
    /// Whether it started.
    pub started: bool,
    /// The sheet's factor on the days it had stood, by what was known of it then.
    pub factor: f64,
}

/// A point in a machine's time.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    /// The day, as a day number.
    pub day: i32,
    /// The hours it has run.
    pub hours: f64,
}

impl<'a> UnitClock<'a> {
    /// The time of a unit of that sheet.
    pub fn new(unit: &'a UnitFacts, sheet: &'a Sheet, shared: &Shared<'_>) -> Self {
        let zone = &shared.facts.zone;
        let prior = super::model::usage_prior(sheet);
        let exposure = sheet.usage.exposure.value;
        let days = shared.snow_days.of(exposure);
        let used = |from: i32, until: i32| {
            prior.prior_hours_per_day * f64::from(days.between(0, from, until))
        };
        // Of what came nobody knows when, hours are counted from the day it was first heard of.
        let came = unit.acquired_on.or_else(|| {
            let since = unit.kept_since?.min(shared.as_of);
            Some(date_of(day_in(since, zone)))
        });
        let timeline = Timeline::new(&unit.meter, came, shared.as_of, zone, used);
        let (run_hours, days_of_use) = timeline.use_so_far(days);
        let tried = unit.starts.iter().map(|start| (start.at, start.started));
        // The loader may leave the newest reading of the start check among the readings only.
        let proof = unit
            .latest
            .iter()
            .find(|reading| reading.check == sheet.start.check);
        let proof = proof.and_then(|reading| Some((reading.at, reading.works?)));
        let mut tried: Vec<(Timestamp, bool)> = tried
            .chain(proof)
            .filter(|(at, _)| *at <= shared.as_of)
            .collect();
        tried.sort_unstable();
        tried.dedup();
        let going_dead = GoingDead::of(unit, sheet, shared);
        let starts = tried.into_iter().map(|(at, started)| {
            let day = day_in(at, zone);
            Attempt {
                at,
                day,
                started,
                factor: going_dead.factor(at, day),
            }
        });
        let starts = starts.collect();
        let placed = unit.parts.iter().filter_map(|path| {
            let place = sheet.parts.iter().position(|part| part.part == path.part)?;
            Some((place, path))
        });
        let mut placed: Vec<(usize, &FittedPartFacts)> = placed.collect();
        placed.sort_by_key(|(place, path)| {
            (
                *place,
                path.removed_at.is_none(),
                path.removed_at,
                path.fitted_at,
                path.id,
            )
        });
        let end = |part| placed.partition_point(|(place, _)| *place <= part);
        let path_ends = (0..sheet.parts.len()).map(end).collect();
        let fitted = unit.parts.iter();
        let fitted = fitted.filter(|path| path.how != Fitting::AsDelivered);
        let first_fitted = fitted.filter_map(|path| path.fitted_at).min();
        let kept_since = unit.kept_since.into_iter().chain(first_fitted).min();
        let usage = Usage::new(&prior, run_hours, days_of_use);
        UnitClock {
            timeline,
            exposure,
            usage,
            starts,
            kept_since,
            going_dead,
            paths: placed.into_iter().map(|(_, path)| path).collect(),
            path_ends,
        }
    }

    /// The moment that hours to come are counted from: the last trusted meter reading, else the day the machine came.
    pub fn base(&self) -> Option<Moment> {
        self.timeline
            .last()
            .map(|(day, hours)| Moment { day, hours })
    }

    /// The days that its hours are counted against.
    pub fn days_of_use<'s>(&self, shared: &'s Shared<'_>) -> DaysOfUse<'s> {
        shared.snow_days.of(self.exposure)
    }

    /// Hours on the meter at the last trusted reading.
    pub fn meter_hours(&self) -> Option<f64> {
        self.timeline.on_the_meter()
    }

    /// Hours run by an instant: as noted on the meter then, if that can be, else in the mean.
    pub fn noted(&self, at: Timestamp, meter_hours: Option<f64>, shared: &Shared<'_>) -> f64 {
        let noted = meter_hours.and_then(|hours| self.timeline.noted(at, hours));
        noted.unwrap_or_else(|| self.hours_at(at, shared))
    }

    /// Hours run by an instant, in the mean.
    pub fn hours_at(&self, at: Timestamp, shared: &Shared<'_>) -> f64 {
        self.timeline.at(
            at,
            self.usage.hours_per_day(),
            self.days_of_use(shared),
            &shared.facts.zone,
        )
    }

    /// The day and the hours run at an instant.
    pub fn moment(&self, at: Timestamp, shared: &Shared<'_>) -> Moment {
        Moment {
            day: day_in(at, &shared.facts.zone),
            hours: self.hours_at(at, shared),
        }
    }

    /// The last good start.
    pub fn last_run(&self) -> Option<(Timestamp, i32)> {
        self.starts
            .iter()
            .rev()
            .find(|start| start.started)
            .map(|start| (start.at, start.day))
    }

    /// The last attempt, if it failed.
    pub fn found_dead(&self) -> Option<Timestamp> {
        self.starts
            .last()
            .filter(|start| !start.started)
            .map(|start| start.at)
    }

    /// The paths of the sheet's part at `place`, in order.
    pub fn paths(&self, place: usize) -> &[&'a FittedPartFacts] {
        let start = place
            .checked_sub(1)
            .map_or(0, |before| self.path_ends[before]);
        &self.paths[start..self.path_ends[place]]
    }

    /// The path of that part now on the machine.
    pub fn path_now(&self, place: usize) -> Option<&'a FittedPartFacts> {
        self.paths(place)
            .last()
            .copied()
            .filter(|path| path.removed_at.is_none())
    }

    /// What a measure of the part at `place` has worn along: its paths, oldest first, and whether the first of them began
    /// with the measure as new. Adjusting a part makes it no newer: only what is left to adjust (`take_up`) begins
    /// anew, nobody knows at what. A part that was turned shows its other side, as new the first time only.
    pub fn worn_along(&self, place: usize, take_up: bool) -> (&[&'a FittedPartFacts], bool) {
        match self.wear_paths(place, take_up).last() {
            Some(worn) if self.path_now(place).is_some() => worn,
            _ => (&[], false),
        }
    }

    /// The same of every stretch along which a measure of that part has worn, those that ended too, oldest first.
    pub fn wear_paths(
        &self,
        place: usize,
        take_up: bool,
    ) -> impl Iterator<Item = (&[&'a FittedPartFacts], bool)> {
        let mut turned = false;
        let stretches = self.paths(place).chunk_by(move |_, next| {
            let goes_on = next.how == Fitting::Adjusted;
            goes_on && !take_up
        });
        stretches.map(move |paths| {
            let how = paths[0].how;
            let as_new = match how {
                Fitting::Renewed | Fitting::AsDelivered => true,
                Fitting::Turned => !turned,
                Fitting::Adjusted => false,
            };
            turned = match how {
                Fitting::Renewed | Fitting::AsDelivered => false,
                Fitting::Turned => true,
                Fitting::Adjusted => turned,
            };
            (paths, as_new)
        })
    }

    /// The path that the present life of that part began with: turning or adjusting it did not make it new.
    pub fn life_began(&self, place: usize) -> Option<&'a FittedPartFacts> {
        self.path_now(place)?;
        self.paths(place)
            .iter()
            .rev()
            .find(|path| is_new(path))
            .copied()
    }

    /// Hours run when a path began, noted or taken from the timeline.
    pub fn fitted_hours(&self, path: &FittedPartFacts, shared: &Shared<'_>) -> Option<f64> {
        match path.fitted_at {
            Some(at) => Some(self.noted(at, path.fitted_hours, shared)),
            None => path.fitted_hours,
        }
    }

    /// Age at `moment` of a part that came on with `path`, where that is known.
    pub fn age(
        &self,
        life: &LifeSpec,
        path: &FittedPartFacts,
        moment: Moment,
        shared: &Shared<'_>,
    ) -> Option<f64> {
        let age = match life.clock {
            Clock::Days => f64::from(moment.day - day_in(path.fitted_at?, &shared.facts.zone)),
            Clock::Hours => moment.hours - self.fitted_hours(path, shared)?,
        };
        Some(age.max(0.0))
    }
}

/// Whether a path began with a part that was new to the machine.
pub fn is_new(path: &FittedPartFacts) -> bool {
    matches!(path.how, Fitting::Renewed | Fitting::AsDelivered)
}
