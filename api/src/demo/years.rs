//! What happens to a machine, winter by winter: inspections before, in and after the season, storms, repairs, words
//! of operators; then what is out of the ordinary with it at present.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{SignedDuration, Timestamp, ToSpan};
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::CheckSpec;

use super::cases::Case;
use super::draw::Draw;
use super::machine::Machine;
use super::noting::Beyond;
use super::rounds::checks;
use super::rounds::tests_safety;
use super::truth::Days;

const DAY: SignedDuration = SignedDuration::from_hours(24);

/// Share of the machines that are prepared, or put away, only after the day by which it is owed.
const LATE: f64 = 0.12;

/// Snow days of each winter of a depot.
pub type Snow = BTreeMap<i16, BTreeMap<Date, f64>>;

/// What a machine's years are made from.
pub struct Years<'a> {
    /// The demo's seed.
    pub seed: u64,
    /// The depot's snow.
    pub snow: &'a Snow,
    /// First winter written down.
    pub first: i16,
    /// After this instant nobody touches the machine.
    pub until: Timestamp,
    /// What is out of the ordinary with it.
    pub case: Option<Case>,
}

impl Years<'_> {
    /// Draws on which days it ran, and how long: hidden.
    pub fn run(&self, machine: &mut Machine<'_>) {
        let end = machine.calendar.date_of(self.until);
        for (winter, snow) in self.snow {
            let days: Vec<Date> = match machine.kind.days {
                Days::Snow => snow.keys().copied().collect(),
                Days::Weekdays => machine.calendar.weekdays(*winter),
            };
            for day in days.into_iter().filter(|day| *day < end) {
                if machine.draw.chance(machine.kind.runs_on) {
                    let hours = machine.draw.gamma(1.4, machine.nature.hours_a_day);
                    machine.ran.insert(day, hours.min(9.0));
                }
            }
        }
        machine.truth.hours = machine
            .ran
            .iter()
            .map(|(day, hours)| (*day, *hours))
            .collect();
    }

    /// Lives through every winter up to now.
    pub fn live(&self, machine: &mut Machine<'_>) {
        let current = machine.calendar.winter();
        for winter in self.first..=current {
            self.before_the_season(machine, winter);
            self.in_the_season(machine, winter);
            if winter < current {
                self.put_away(machine, winter);
            }
        }
    }

    fn before_the_season(&self, machine: &mut Machine<'_>, winter: i16) {
        let current = winter == machine.calendar.winter();
        if current && matches!(self.case, Some(Case::NotInspected | Case::Stood240Days)) {
            return;
        }
        let (from, eve) = machine.calendar.pre_season(winter);
        let to = if self.is_late(machine, "prepared", winter) {
            eve
        } else {
            machine.calendar.prepared_by(winter).clamp(from, eve)
        };
        let at = machine.calendar.at_work(&mut machine.draw, from, to);
        if at > self.until {
            return;
        }
        let kind = InspectionKind::PreSeason;
        let round = checks(machine, kind, current);
        let worn = machine.inspect(kind, at, &round, &[], Beyond::Unserviceable);
        self.repair(machine, at, &worn);
    }

    /// Whether somebody came to it too late that winter; drawn apart, so that all else stays as it was.
    fn is_late(&self, machine: &Machine<'_>, what: &str, winter: i16) -> bool {
        let name = format!("{what} {} {winter}", machine.written.tag);
        Draw::new(self.seed, &name).chance(LATE)
    }

    /// Renews what an inspection found, and whatever else has failed; proves it.
    fn repair(&self, machine: &mut Machine<'_>, found: Timestamp, worn: &[&'static str]) {
        let would_not_start = machine
            .written
            .inspections
            .last()
            .is_some_and(|inspection| {
                inspection
                    .readings
                    .iter()
                    .any(|r| r.check == machine.sheet.start.check && r.works == Some(false))
            });
        let failed = machine.failed_by(found);
        if worn.is_empty() && failed.is_empty() && !would_not_start {
            return;
        }
        let latest = self.until.max(found);
        let from = (found + DAY / 2).min(latest);
        let at = machine
            .calendar
            .at_work(&mut machine.draw, from, (found + DAY * 3).min(latest));
        let hours = machine.hours_at(at);
        for part in worn {
            machine.renew(part, at, hours, false);
        }
        for life in &failed {
            machine.renew(life.part, at, hours, true);
        }
        let again = |check: &CheckSpec| {
            machine
                .kind
                .wears
                .iter()
                .any(|wear| wear.check == check.check && worn.contains(&wear.part))
                || failed
                    .iter()
                    .any(|life| life.check == Some(check.check.as_str()))
                || check.check == machine.sheet.start.check
                || tests_safety(machine, &check.check)
        };
        let round: Vec<_> = machine
            .sheet
            .checks
            .iter()
            .filter(|check| again(check))
            .cloned()
            .collect();
        machine.inspect(
            InspectionKind::AfterRepair,
            at,
            &round,
            &[],
            Beyond::Nothing,
        );
    }

    fn in_the_season(&self, machine: &mut Machine<'_>, winter: i16) {
        let mut events = self.events(machine, winter);
        events.retain(|(at, _)| *at < self.until - DAY / 8);
        events.sort_by_key(|(at, _)| *at);
        for (at, event) in events {
            match event {
                Event::Look(kind) => {
                    let round = checks(machine, kind, false);
                    let worn = machine.inspect(kind, at, &round, &[], Beyond::Unserviceable);
                    self.repair(machine, at, &worn);
                }
                Event::Word => {
                    let started = machine.try_start(at);
                    machine.report(at, Some(started));
                    if !started {
                        machine.report((at + DAY).min(self.until), Some(true));
                    }
                }
            }
        }
    }

    fn events(&self, machine: &mut Machine<'_>, winter: i16) -> Vec<(Timestamp, Event)> {
        let current = winter == machine.calendar.winter();
        let left_alone =
            current && matches!(self.case, Some(Case::NotInspected | Case::Stood240Days));
        let (first, last) = machine.calendar.season(winter);
        let middle = machine.calendar.at(first.saturating_add(50.days()), 8.0);
        let late = machine.calendar.at(last.saturating_sub(45.days()), 15.0);
        let mut events = Vec::new();
        if !left_alone && (machine.draw.chance(0.6) || self.case == Some(Case::BeltLow)) {
            let at = machine.calendar.at_work(&mut machine.draw, middle, late);
            events.push((at, Event::Look(InspectionKind::InSeason)));
        }
        let none = BTreeMap::new();
        let snow = self.snow.get(&winter).unwrap_or(&none);
        let heavy = snow
            .iter()
            .filter(|(_, depth_mm)| **depth_mm > 180.0)
            .map(|(day, _)| *day);
        if let Some(day) = heavy
            .take(1)
            .find(|_| !left_alone && machine.draw.chance(0.3))
        {
            let hour = machine.draw.between(7.5, 12.0);
            let at = machine.calendar.at(day.saturating_add(1.day()), hour);
            events.push((at, Event::Look(InspectionKind::AfterStorm)));
        }
        // The operator notes hours and starts after work: of old winters little is left.
        let noted = if winter + 1 >= machine.calendar.winter() {
            0.4
        } else {
            0.06
        };
        // What is out on any weekday is noted less often.
        let noted = match machine.kind.days {
            Days::Snow => noted,
            Days::Weekdays => noted / 2.0,
        };
        let days: Vec<Date> = machine
            .ran
            .range(first..=last)
            .map(|(day, _)| *day)
            .collect();
        for day in days {
            if machine.draw.chance(noted) {
                let hour = machine.draw.between(16.0, 17.5);
                events.push((machine.calendar.at(day, hour), Event::Word));
            }
        }
        events
    }

    fn put_away(&self, machine: &mut Machine<'_>, winter: i16) {
        let (_, last) = machine.calendar.season(winter);
        let from = machine.calendar.at(last.saturating_add(3.days()), 8.0);
        let within = if self.is_late(machine, "put away", winter) {
            28
        } else {
            14
        };
        let to = machine
            .calendar
            .at(last.saturating_add(within.days()), 15.0);
        let at = machine.calendar.at_work(&mut machine.draw, from, to);
        if at > self.until {
            return;
        }
        let kind = InspectionKind::Storage;
        let round = checks(machine, kind, false);
        let last_round = winter + 1 == machine.calendar.winter()
            && matches!(self.case, Some(Case::NotInspected | Case::Stood240Days));
        let beyond = if last_round {
            Beyond::Unserviceable
        } else {
            Beyond::Marginal
        };
        let worn = machine.inspect(kind, at, &round, &[], beyond);
        if last_round {
            // Nobody looks at it again before winter, so it is put away in order.
            self.repair(machine, at, &worn);
            return;
        }
        let june = machine
            .calendar
            .at(Date::constant(winter + 1, 6, 28), 15.0)
            .min(self.until);
        for part in worn {
            let kept = part == "auger_belt" && self.case == Some(Case::BeltLow);
            if !kept && machine.draw.chance(0.88) {
                let renewed =
                    machine
                        .calendar
                        .at_work(&mut machine.draw, (at + DAY).min(june), june);
                let hours = machine.hours_at(renewed);
                machine.renew(part, renewed, hours, false);
            }
        }
    }

    /// Sees to it that the promised machine has the promised belt: put on new when its history begins, at the end of
    /// this season near -2.3 mm, its take-up gone now.
    pub fn prepare(&self, machine: &mut Machine<'_>, begins: Timestamp, typical_snow_days: i32) {
        if self.case != Some(Case::BeltLow) {
            return;
        }
        machine.renew("auger_belt", begins, machine.first_hours, false);
        let (first, last) = machine.calendar.season(machine.calendar.winter());
        let today = machine.calendar.today();
        let left = last.duration_since(today.clamp(first, last)).as_secs_f64();
        let share = left / last.duration_since(first).as_secs_f64();
        let to_come = share
            * machine.kind.runs_on
            * f64::from(typical_snow_days)
            * machine.nature.hours_a_day;
        let now = machine.hours_at(machine.calendar.now);
        machine.bend("auger_belt", "auger_belt_ride", (0.0, -2.3), now + to_come);
        machine.bend("auger_belt", "auger_take_up", (96.0, 5.0), now);
    }

    /// What the machine came with, and what was renewed before its history begins at `at`. Of a machine whose papers
    /// are lost nothing is known of that.
    pub fn equip(&self, machine: &mut Machine<'_>, acquired: Timestamp, at: Timestamp) {
        let hours = machine.first_hours;
        let span = at.duration_since(acquired).as_secs_f64().max(1.0);
        let when = |share: f64| acquired + SignedDuration::from_secs((span * share) as i64);
        let mut parts: Vec<_> = machine.kind.wears.iter().map(|wear| wear.part).collect();
        parts.dedup();
        let mut renewals = Vec::new();
        for part in parts {
            machine.deliver(part, acquired, 0.0);
            // Renewed within the last 70 hours, or never.
            let age = machine.draw.between(0.0, 70.0);
            if age < hours {
                renewals.push((when(1.0 - age / hours), part, hours - age));
            }
        }
        for life in machine.kind.lives {
            machine.deliver(life.part, acquired, 0.0);
            let whole = if life.in_days { span / 86_400.0 } else { hours };
            let mut age = 0.0;
            loop {
                age += machine.draw.weibull_after(life.shape, life.scale, 0.0);
                if age >= whole {
                    break;
                }
                renewals.push((when(age / whole), life.part, hours * age / whole));
            }
        }
        renewals.sort_by(|left, right| left.0.cmp(&right.0).then(left.1.cmp(right.1)));
        for (renewed, part, hours) in renewals {
            let failed = machine.kind.lives.iter().any(|life| life.part == part);
            if machine.written.acquired_on.is_some() {
                machine.renew(part, renewed, hours, failed);
            } else {
                machine.deliver(part, renewed, hours);
            }
        }
        for life in machine.kind.lives {
            machine.outlived(life, at);
        }
    }
}

enum Event {
    /// An inspection.
    Look(InspectionKind),
    /// The operator's word: hours and a start.
    Word,
}
