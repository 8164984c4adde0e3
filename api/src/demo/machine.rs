//! One machine as it truly is: its hours, its parts, whether it starts.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::facts::Fitting;
use rimeyard_rules::sheet::{CheckSpec, Sheet, Work};

use super::calendar::Calendar;
use super::draw::Draw;
use super::noting::{Beyond, is_past};
use super::plan::{self, MeterReading, PartFitted, TruePath, Truth};
use super::truth::{Kind, Nature, TrueLife, TrueWear};

/// A machine under simulation.
pub struct Machine<'a> {
    /// Its own draws.
    pub draw: Draw,
    /// Its depot's calendar.
    pub calendar: &'a Calendar,
    /// Its model's sheet.
    pub sheet: &'a Sheet,
    /// The truth about its kind.
    pub kind: &'static Kind,
    /// Its nature.
    pub nature: Nature,
    /// Hours on it when its history begins.
    pub first_hours: f64,
    /// Every day it ran, with that day's hours.
    pub ran: BTreeMap<Date, f64>,
    /// From when its meter is dead.
    pub meter_dead_from: Option<Timestamp>,
    /// From when nobody tests its hidden safety functions.
    pub untested_from: Option<Timestamp>,
    /// When it was last refuelled.
    pub refuelled: Timestamp,
    /// What has been written down.
    pub written: plan::Machine,
    /// What is true.
    pub truth: Truth,
    fitted: BTreeMap<&'static str, Fitted>,
}

/// A part on the machine now.
struct Fitted {
    /// True running hours at fitting.
    hours: f64,
    /// When it was fitted.
    at: Timestamp,
    /// Its truths: of its kind's wears, with value as new and change an hour.
    paths: Vec<(&'static TrueWear, f64, f64)>,
    /// Age at which it will fail, in its own clock.
    fails_at_age: f64,
}

impl<'a> Machine<'a> {
    /// A machine without history.
    pub fn new(
        draw: Draw,
        calendar: &'a Calendar,
        sheet: &'a Sheet,
        (kind, nature): (&'static Kind, Nature),
        written: plan::Machine,
    ) -> Self {
        let truth = Truth {
            tag: written.tag.clone(),
            hours: Vec::new(),
            goes_dead_a_day: nature.goes_dead_a_day,
            wear: Vec::new(),
        };
        Machine {
            draw,
            calendar,
            sheet,
            kind,
            nature,
            first_hours: 0.0,
            ran: BTreeMap::new(),
            meter_dead_from: None,
            untested_from: None,
            refuelled: Timestamp::UNIX_EPOCH,
            written,
            truth,
            fitted: BTreeMap::new(),
        }
    }

    /// What it is rigged for.
    pub fn work(&self) -> Work {
        self.written.rigging.unwrap_or(self.sheet.works[0])
    }

    /// True running hours at that instant; a day's hours are done by ten in the morning.
    pub fn hours_at(&self, at: Timestamp) -> f64 {
        let date = self.calendar.date_of(at);
        let before: f64 = self.ran.range(..date).map(|(_, hours)| hours).sum();
        let today = if self.calendar.hour_of(at) >= 10.0 {
            self.ran.get(&date).copied()
        } else {
            None
        };
        self.first_hours + before + today.unwrap_or(0.0)
    }

    /// Days since it last ran, or since it was last started on purpose.
    fn stood_days(&self, at: Timestamp) -> f64 {
        let date = self.calendar.date_of(at);
        let ran = self
            .ran
            .range(..date)
            .next_back()
            .map(|(day, _)| self.calendar.at(*day, 9.0));
        let started = |reading: &MeterReading| reading.started == Some(true);
        let proven = self
            .written
            .meter
            .iter()
            .rev()
            .find(|reading| started(reading))
            .map(|reading| reading.at);
        let inspected = self.written.inspections.iter().rev().find(|inspection| {
            inspection.readings.iter().any(|reading| {
                reading.check == self.sheet.start.check && reading.works == Some(true)
            })
        });
        let last = ran
            .max(proven)
            .max(inspected.map(|inspection| inspection.at));
        last.map_or(200.0, |last| {
            at.duration_since(last).as_secs_f64() / 86_400.0
        })
    }

    /// Somebody tries to start it.
    pub fn try_start(&mut self, at: Timestamp) -> bool {
        let days = self.stood_days(at);
        self.nature.starts(&mut self.draw, days)
    }

    /// The part that the machine came with, at no hours, or at so many that nobody knows of.
    pub fn deliver(&mut self, part: &'static str, at: Timestamp, hours: f64) {
        self.put_on(part, at, hours);
    }

    /// Another part takes the place of the one that is on, or the same one turned; it is written down. `failed`:
    /// whether the old one had.
    pub fn renew(&mut self, part: &'static str, at: Timestamp, hours: f64, failed: bool) {
        if !self.put_on(part, at, hours) {
            return;
        }
        let turned_before = self
            .written
            .fittings
            .iter()
            .rev()
            .find(|fitting| fitting.part == part);
        let turned = part == "skid_shoes"
            && turned_before.is_none_or(|before| before.how != Fitting::Turned);
        let how = if turned {
            Fitting::Turned
        } else {
            Fitting::Renewed
        };
        let id = self.draw.id(at);
        let failed = (!turned).then_some(failed);
        self.written.fittings.push(PartFitted {
            id,
            part,
            how,
            at,
            hours: noted(hours),
            failed,
        });
    }

    /// Draws the truth of a part and puts it on; false where the model has no such part.
    fn put_on(&mut self, part: &'static str, at: Timestamp, hours: f64) -> bool {
        let spec = self.sheet.part(part);
        if spec.is_none_or(|spec| !self.work().concerned(spec.only_for)) {
            return false;
        }
        let wears = self.kind.wears.iter().filter(|wear| wear.part == part);
        let paths: Vec<_> = wears
            .map(|wear| {
                let (as_new, rate) = self.nature.fit(&mut self.draw, wear);
                (wear, as_new, rate)
            })
            .collect();
        let truths = paths.iter().map(|(wear, as_new, rate)| TruePath {
            check: wear.check,
            as_new: *as_new,
            rate: *rate,
            fitted_hours: hours,
        });
        self.truth.wear.extend(truths);
        let life = self.kind.lives.iter().find(|life| life.part == part);
        let fails_at_age = life.map_or(f64::INFINITY, |life| {
            self.draw.weibull_after(life.shape, life.scale, 0.0)
        });
        self.fitted.insert(
            part,
            Fitted {
                hours,
                at,
                paths,
                fails_at_age,
            },
        );
        true
    }

    /// Has a part wear from a value as new so that it stands at another when the machine will have `hours`. For a machine of whom a known
    /// end is promised.
    pub fn bend(&mut self, part: &str, check: &str, (new, value): (f64, f64), hours: f64) {
        let Some(fitted) = self.fitted.get_mut(part) else {
            return;
        };
        for (wear, as_new, rate) in fitted
            .paths
            .iter_mut()
            .filter(|(wear, ..)| wear.check == check)
        {
            *as_new = new;
            *rate = (value - new) / (hours - fitted.hours);
            let truth = TruePath {
                check: wear.check,
                as_new: *as_new,
                rate: *rate,
                fitted_hours: fitted.hours,
            };
            self.truth.wear.push(truth);
        }
    }

    /// Redraws the life of a part that is known to be sound at that instant.
    pub fn outlived(&mut self, life: &TrueLife, at: Timestamp) {
        let age = self.age(life, at);
        if let (Some(age), Some(fitted)) = (age, self.fitted.get_mut(life.part)) {
            fitted.fails_at_age = self.draw.weibull_after(life.shape, life.scale, age);
        }
    }

    /// How old a part without measure is, in its own clock.
    fn age(&self, life: &TrueLife, at: Timestamp) -> Option<f64> {
        let fitted = self.fitted.get(life.part)?;
        Some(if life.in_days {
            at.duration_since(fitted.at).as_secs_f64() / 86_400.0
        } else {
            self.hours_at(at) - fitted.hours
        })
    }

    /// Parts without measure that have failed by then.
    pub fn failed_by(&self, at: Timestamp) -> Vec<&'static TrueLife> {
        let failed = |life: &&TrueLife| {
            let age = self.age(life, at);
            age.zip(self.fitted.get(life.part))
                .is_some_and(|(age, fitted)| age >= fitted.fails_at_age)
        };
        self.kind.lives.iter().filter(failed).collect()
    }

    /// The true value of a measure at that instant.
    pub fn true_value(&self, check: &str, at: Timestamp) -> Option<(&'static TrueWear, f64)> {
        let hours = self.hours_at(at);
        self.fitted.values().find_map(|fitted| {
            let (wear, as_new, rate) =
                fitted.paths.iter().find(|(wear, ..)| wear.check == check)?;
            Some((*wear, as_new + rate * (hours - fitted.hours)))
        })
    }

    /// Renews at that instant what is truly marginal, but for `kept`: so that of a machine which is to be found with
    /// one fault nothing else is found.
    pub fn put_right(&mut self, at: Timestamp, kept: &[&str]) {
        let hours = self.hours_at(at);
        let marginal = |fitted: &Fitted| {
            fitted.paths.iter().any(|(wear, as_new, rate)| {
                let measure = self
                    .sheet
                    .check_spec(wear.check)
                    .and_then(CheckSpec::measure);
                let value = as_new + rate * (hours - fitted.hours);
                measure.is_some_and(|measure| is_past(value, &measure.limits, Beyond::Marginal))
            })
        };
        let worn = self
            .fitted
            .iter()
            .filter(|(part, fitted)| !kept.contains(part) && marginal(fitted));
        let worn: Vec<_> = worn.map(|(part, _)| *part).collect();
        for part in worn {
            self.renew(part, at, hours, false);
        }
    }

    /// What has been written down, and the truth behind it.
    pub fn done(mut self) -> (plan::Machine, Truth) {
        self.written
            .inspections
            .sort_by_key(|inspection| inspection.at);
        self.written.meter.sort_by_key(|reading| reading.at);
        (self.written, self.truth)
    }

    /// The latest thing anybody has written about it.
    pub fn last_heard(&self) -> Option<Timestamp> {
        let inspected = self
            .written
            .inspections
            .last()
            .map(|inspection| inspection.at);
        inspected.max(self.written.meter.last().map(|reading| reading.at))
    }
}

/// Hours as a meter shows them.
pub fn noted(hours: f64) -> f64 {
    (hours * 10.0).round() / 10.0
}
