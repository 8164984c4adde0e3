//! One machine's life, drawn day by day: it works on snow days, stands on others, is looked at on the depot's rounds, and
//! its parts wear, break and are renewed.

use rimeyard_rules::sheet::Clock;

use super::chance::Chance;
use super::machine::{Attempt, Fitted, Line, Machine, Reading, Removed, Round};
use super::setting::Setting;
use super::sky::{Day, THIS_WINTER, july};

/// A machine being drawn.
struct Living<'a> {
    setting: &'a Setting<'a>,
    chance: Chance,
    machine: Machine,
}

/// Draws a machine from the day it came, or was imported, up to today, and the hours it will run.
pub fn draw(setting: &Setting<'_>, chance: &mut Chance) -> Machine {
    let population = setting.population;
    let mut chance = chance.aside();
    let imported = chance.happens(0.25);
    let (came, since) = if imported {
        // It ran elsewhere before; the depot begins to keep its record at a pre-season inspection.
        let year = THIS_WINTER - chance.whole(1, 3);
        let first = setting
            .rounds
            .iter()
            .find(|(day, round)| *day > july(year) && *round == Round::PreSeason);
        let since = first.expect("a round before each season").0;
        (july(year - chance.whole(1, 4)) + 60, since)
    } else {
        let came = july(THIS_WINTER - chance.whole(0, 5)) + chance.whole(30, 70);
        (came, came)
    };
    let theta = chance.gamma(
        population.use_shape * population.use_days + 1.0,
        population.use_days * population.use_hours,
    );
    let machine = Machine {
        model: chance.place(2),
        theta,
        since,
        imported,
        hours: 0.0,
        parts: vec![Vec::new(); population.parts.len()],
        meter: Vec::new(),
        attempts: Vec::new(),
        rounds: Vec::new(),
        stored_well: Vec::new(),
        spares: 2,
        counted: None,
        last_run: came,
        factor: 1.0,
        to_come: Vec::new(),
    };
    let mut living = Living {
        setting,
        chance,
        machine,
    };
    for place in 0..population.parts.len() {
        living.fit(place, came, 0.0);
    }
    if !imported {
        // It is handed over running.
        living.machine.meter.push((came, 0.0));
        living.attempt(came, 12);
    }
    // The depot gets round to each machine on a day of its own.
    let after = living.chance.whole(0, 5);
    let rounds = setting
        .rounds
        .iter()
        .map(|(day, round)| (day + after, *round));
    let mut rounds = rounds.filter(|(day, _)| *day > came).peekable();
    for day in came + 1..=setting.sky.today {
        if !setting.twist.unseen {
            living.look_for_aged(day, 5);
        }
        if setting.sky.snowed(day) {
            living.work(day);
        } else if let Some((_, round)) = rounds.next_if(|(planned, _)| *planned <= day) {
            living.inspect(day, round);
        }
    }
    let Living {
        mut chance,
        mut machine,
        ..
    } = living;
    machine.to_come = setting
        .sky
        .to_come
        .iter()
        .map(|day| (*day, chance.gamma(population.use_shape, theta)))
        .collect();
    machine
}

impl Living<'_> {
    /// Puts a new part on.
    fn fit(&mut self, place: usize, day: Day, hours: f64) {
        let setting = self.setting;
        let figures = &setting.population.parts[place];
        let batch = (day - setting.sky.first()) / 365;
        let bad = setting.bad_batches[place].get(batch.max(0) as usize);
        let batch_times = match setting.twist.bad_batches {
            Some((_, times)) if bad == Some(&true) => times,
            _ => 1.0,
        };
        let line = figures.wear.as_ref().map(|wear| Line {
            start: self.chance.normal(wear.as_new, wear.as_new_sd),
            rate: self.chance.normal(wear.rate, wear.rate_sd) * setting.times * batch_times,
        });
        let rate = setting.rates.life[self.machine.model][place];
        let fails_at = match &figures.life {
            Some(life) => (self.chance.exponential() / rate).powf(1.0 / life.shape),
            None => f64::INFINITY,
        };
        self.machine.parts[place].push(Fitted {
            day,
            hours,
            line,
            fails_at,
            removed: None,
            inspected: None,
            sound: day,
            readings: Vec::new(),
        });
    }

    fn renew(&mut self, place: usize, removed: Removed) {
        let part = self.machine.parts[place].last_mut().expect("a part");
        part.removed = Some(removed);
        self.fit(place, removed.day, removed.hours);
    }

    /// Tries to start it; what does not start is repaired at once.
    fn attempt(&mut self, day: Day, hour: i8) {
        let rates = self.setting.rates;
        let stood = day - self.machine.last_run;
        let factor = self.machine.factor;
        let starts = rates.at_once * (-rates.dead * factor * f64::from(stood)).exp();
        let started = self.chance.happens(starts);
        let first = Attempt {
            day,
            hour,
            started,
            stood,
            factor,
        };
        self.machine.attempts.push(first);
        if !started {
            let hour = hour + 2;
            let again = Attempt {
                day,
                hour,
                started: true,
                stood: 0,
                factor,
            };
            self.machine.attempts.push(again);
        }
        self.machine.last_run = day;
        self.look_for_aged(day, hour);
    }

    /// Renews the parts that are seen to have failed by the calendar.
    fn look_for_aged(&mut self, day: Day, hour: i8) {
        for place in 0..self.setting.population.parts.len() {
            let life = self.setting.population.parts[place].life.as_ref();
            if life.is_none_or(|life| life.clock != Clock::Days) {
                continue;
            }
            let hours = self.machine.hours;
            let part = self.machine.parts[place].last_mut().expect("a part");
            if f64::from(day - part.day) >= part.fails_at {
                let removed = Removed {
                    day,
                    hour,
                    hours,
                    failed: true,
                };
                self.renew(place, removed);
            } else {
                part.sound = day;
            }
        }
    }

    /// A day's work in snow.
    fn work(&mut self, day: Day) {
        self.attempt(day, 6);
        if self.setting.twist.unrecorded_starts {
            let first = self.machine.attempts.iter().position(|one| one.day == day);
            self.machine.attempts.truncate(first.unwrap_or(usize::MAX));
        }
        let shape = self.setting.population.use_shape;
        let until = self.machine.hours + self.chance.gamma(shape, self.machine.theta);
        for place in 0..self.setting.population.parts.len() {
            while let Some(hours) = self.fails_by(place, until) {
                let removed = Removed {
                    day,
                    hour: 18,
                    hours,
                    failed: true,
                };
                self.renew(place, removed);
            }
        }
        self.machine.hours = until;
        if self.setting.twist.daily_hours && day >= self.machine.since {
            self.machine.meter.push((day, until));
        }
    }

    /// The hours, up to `until`, at which the part at a place is seen to fail at work.
    fn fails_by(&self, place: usize, until: f64) -> Option<f64> {
        let figures = &self.setting.population.parts[place];
        let twist = self.setting.twist;
        let part = self.machine.part(place);
        let by_hours = figures
            .life
            .as_ref()
            .is_some_and(|life| life.clock == Clock::Hours);
        let breaks = if by_hours {
            part.hours + part.fails_at
        } else {
            f64::INFINITY
        };
        let wears_out = match (&figures.wear, part.line) {
            (Some(wear), Some(line)) if twist.notices && wear.fails => {
                part.hours + line.reached_after(wear, twist.bend)
            }
            _ => f64::INFINITY,
        };
        let first = breaks.min(wears_out);
        (first <= until).then(|| first.max(self.machine.hours))
    }

    /// An inspection on a dry day: starts it, notes its hours, measures what wears, renews what is worn.
    fn inspect(&mut self, day: Day, round: Round) {
        let kept = day >= self.machine.since;
        self.attempt(day, 8);
        let hours = (self.machine.hours * 10.0).round() / 10.0;
        if kept {
            self.machine.meter.push((day, hours));
            self.machine.rounds.push((day, round));
        }
        match round {
            Round::Storage => {
                let well = self.chance.happens(0.7);
                self.machine.stored_well.push((day, well));
                self.machine.factor = if well {
                    1.0
                } else {
                    self.setting.population.badly_stored
                };
            }
            Round::PreSeason => {
                self.machine.stored_well.push((day, true));
                self.machine.factor = 1.0;
            }
            Round::MidSeason => {}
        }
        self.machine.spares = self.chance.whole(1, 4) as u32;
        self.machine.counted = Some(day);
        for place in 0..self.setting.population.parts.len() {
            self.measure(place, day, hours);
        }
    }

    fn measure(&mut self, place: usize, day: Day, hours: f64) {
        let setting = self.setting;
        let run = self.machine.hours;
        let part = self.machine.parts[place].last_mut().expect("a part");
        part.inspected = Some(day);
        let (Some(wear), Some(line)) = (&setting.population.parts[place].wear, part.line) else {
            return;
        };
        let repeats: u32 = if self.chance.happens(0.3) { 3 } else { 1 };
        let sd = wear.reading_sd / f64::from(repeats).sqrt();
        let read =
            line.at(wear, setting.twist.bend, run - part.hours) + self.chance.normal(0.0, sd);
        // To the step of the tool, finer in the mean of several.
        let step = wear.resolution / f64::from(repeats);
        let value = (read / step).round() * step;
        part.readings.push(Reading {
            day,
            hours,
            value,
            repeats,
        });
        let beyond = |limit: f64| wear.way * (value - limit) >= 0.0;
        let worn = (wear.fails && beyond(wear.limit))
            || (beyond(wear.unserviceable) && self.chance.happens(0.7));
        if worn {
            let removed = Removed {
                day,
                hour: 10,
                hours: run,
                failed: false,
            };
            self.renew(place, removed);
        }
    }
}
