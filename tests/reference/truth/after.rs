//! What happens to a depot's machines in the end.

use rimeyard_rules::sheet::Clock;

use super::chance::Chance;
use super::depot::Depot;
use super::figures::Population;
use super::ground::STORM_HOURS;
use super::machine::Machine;
use super::setting::Twist;
use super::sky::Day;

/// What has happened in the end, of one part.
#[derive(Debug, Clone, Copy, Default)]
pub struct Lasted {
    pub storm: bool,
    pub season: bool,
    pub next_season: bool,
}

/// What has happened to one machine.
#[derive(Debug, Clone)]
pub struct Happened {
    /// Its parts' wear, by place; true of what does not wear.
    pub wear: Vec<Lasted>,
    /// Its parts' lives, by place.
    pub life: Vec<Lasted>,
    pub starts: bool,
    pub fasteners: bool,
    /// All of these that stop it.
    pub works: bool,
    /// Hours from now until each measured limit, the storm's included; infinite where it never comes.
    pub hours_left: Vec<f64>,
    /// The day on which that is; none: not within the winters drawn.
    pub day_left: Vec<Option<Day>>,
    /// Hours it runs from now to the end of this season, without the storm's, and on how many snow days.
    pub season_hours: (f64, usize),
    /// Shear fasteners that break in the storm and until the end of this season.
    pub broken: u32,
}

impl Depot {
    /// The day of the storm: today where it is the design storm.
    pub fn storm_day(&self) -> Day {
        self.storm.map_or(self.sky.today, |storm| storm.day)
    }

    /// What happens to each machine, where this season and the next end on these days.
    pub fn happens(&self, population: &Population, twist: Twist, ends: [Day; 2]) -> Vec<Happened> {
        let mut chance = self.after.clone();
        let happened = self.machines.iter();
        happened
            .map(|machine| self.of(machine, population, twist, ends, &mut chance))
            .collect()
    }

    fn of(
        &self,
        machine: &Machine,
        population: &Population,
        twist: Twist,
        [this, next]: [Day; 2],
        chance: &mut Chance,
    ) -> Happened {
        let storm_day = self.storm_day();
        // A storm with a date stands for the snow of its day.
        let days = machine
            .to_come
            .iter()
            .filter(|(day, _)| self.storm.is_none() || *day != storm_day);
        let before = days.clone().take_while(|(day, _)| *day < storm_day);
        let before: f64 = before.map(|day| day.1).sum();
        let until = |last: Day| {
            let run = days.clone().take_while(|(day, _)| *day <= last);
            self.storm_hours + run.map(|day| day.1).sum::<f64>()
        };
        let hours = [before + self.storm_hours, until(this), until(next)];
        let season_hours = {
            let run = machine.to_come.iter().take_while(|(day, _)| *day <= this);
            (run.clone().map(|day| day.1).sum(), run.count())
        };
        let starts = self.starts(machine, chance);
        let broken = chance.poisson(self.rates.breaks * self.storm_hours);
        let mut happened = Happened {
            wear: Vec::new(),
            life: Vec::new(),
            starts,
            fasteners: broken <= machine.spares,
            works: true,
            hours_left: Vec::new(),
            day_left: Vec::new(),
            season_hours,
            broken: broken + chance.poisson(self.rates.breaks * season_hours.0),
        };
        happened.works = happened.starts && happened.fasteners;
        for (place, figures) in population.parts.iter().enumerate() {
            let part = machine.part(place);
            let old = machine.hours - part.hours;
            let mut lasted = Lasted {
                storm: true,
                season: true,
                next_season: true,
            };
            let mut left = f64::INFINITY;
            if let (Some(wear), Some(line)) = (&figures.wear, part.line) {
                let lasts = |hours: f64| !line.reached(wear, twist.bend, old + hours);
                lasted = Lasted {
                    storm: lasts(hours[0]),
                    season: lasts(hours[1]),
                    next_season: lasts(hours[2]),
                };
                left = line.reached_after(wear, twist.bend) - old;
                if figures.stops && wear.fails {
                    happened.works &= lasted.storm;
                }
            }
            happened.day_left.push(self.day_of(machine, left));
            happened.hours_left.push(left.max(0.0));
            happened.wear.push(lasted);
            let mut lived = Lasted {
                storm: true,
                season: true,
                next_season: true,
            };
            if let Some(life) = &figures.life {
                let new = || {
                    let rate = self.rates.life[machine.model][place];
                    (chance.exponential() / rate).powf(1.0 / life.shape)
                };
                lived = match life.clock {
                    Clock::Hours => {
                        let left = part.fails_at - old;
                        Lasted {
                            storm: lasts_the_storm(left, before, self.storm_hours, new),
                            season: left > hours[1],
                            next_season: left > hours[2],
                        }
                    }
                    Clock::Days => {
                        let left = part.fails_at - f64::from(self.sky.today - part.day);
                        Lasted {
                            // Nobody sees it fail before the machine is wanted.
                            storm: left
                                > f64::from(storm_day - self.sky.today) + STORM_HOURS / 24.0,
                            season: left > f64::from(this - self.sky.today),
                            next_season: left > f64::from(next - self.sky.today),
                        }
                    }
                };
                if figures.stops {
                    happened.works &= lived.storm;
                }
            }
            happened.life.push(lived);
        }
        happened
    }

    /// Whether it starts for the storm, after its day's work on the days of snow before.
    fn starts(&self, machine: &Machine, chance: &mut Chance) -> bool {
        let storm = self.storm_day();
        let worked = machine.to_come.iter().map(|(day, _)| *day);
        let worked = worked.take_while(|day| *day < storm);
        let last = worked.last().unwrap_or(machine.last_run);
        let stood = f64::from(storm - last);
        let starts = self.rates.at_once * (-self.rates.dead * machine.factor * stood).exp();
        chance.happens(starts)
    }

    /// The day on which a machine has run so many more hours.
    fn day_of(&self, machine: &Machine, hours: f64) -> Option<Day> {
        let mut run = 0.0;
        if hours <= 0.0 {
            return Some(self.sky.today);
        }
        let storm = self.storm.map(|storm| (storm.day, self.storm_hours));
        let mut days: Vec<(Day, f64)> = machine
            .to_come
            .iter()
            .filter(|(day, _)| storm.is_none_or(|storm| storm.0 != *day))
            .copied()
            .chain(storm)
            .collect();
        days.sort_by_key(|day| day.0);
        days.iter()
            .find(|(_, hours_of_day)| {
                run += hours_of_day;
                run >= hours
            })
            .map(|(day, _)| *day)
    }
}

/// Whether a part that has so many hours left, or the new one put on in its place where it ends before the storm, lasts
/// the storm.
fn lasts_the_storm(left: f64, before: f64, storm: f64, mut new: impl FnMut() -> f64) -> bool {
    let mut fails = left;
    while fails <= before {
        fails += new();
    }
    fails > before + storm
}
