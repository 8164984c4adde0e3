//! Whether parts wear out by some day, winter by winter: what spares are kept for (section 12). A storm that has a date
//! counts with its hours in place of the days it covers; the design storm, which is of no winter, does not count.

use super::{Running, ToCome};
use crate::season::day_number;
use crate::sheet::Clock;
use crate::unit::clock::Moment;
use crate::unit::model::PartModel;

/// A unit's hours to come until the ends of some days, in each scenario.
pub(crate) struct Ahead {
    /// One for each number of days of use that comes up: scenarios and ends share them.
    hours: Vec<ToCome<1>>,
    ends: Vec<End>,
}

/// One of these ends.
struct End {
    /// The last day.
    day: i32,
    /// Hours of a storm that comes before, on top of each scenario's.
    storm_hours: f64,
    /// Of each scenario the place of its hours.
    scenarios: Vec<usize>,
}

/// How a part may wear out.
#[derive(Debug, Clone)]
pub(crate) struct WearOut {
    /// Its chance in each scenario.
    pub chances: Vec<f64>,
    /// Whether nobody ever measured what wears, nor knows its age.
    pub never_measured: bool,
}

impl Running<'_> {
    /// The hours to come until the ends of these days, as day numbers.
    pub(crate) fn ahead(&self, last_days: impl Iterator<Item = i32>) -> Ahead {
        let days = self.clock.days_of_use(self.shared);
        let base = self.base.day;
        let mut counts: Vec<f64> = Vec::new();
        let ends = last_days.map(|day| {
            let storm = self.dated_storm().filter(|storm| storm.first_day <= day);
            let use_of: Vec<f64> = match storm {
                None => days.each(base, day + 1),
                Some(storm) => {
                    let before = days.each(base, storm.first_day).into_iter();
                    let after = days.each(storm.last_day, day + 1);
                    before
                        .zip(after)
                        .map(|(before, after)| before + after)
                        .collect()
                }
            };
            let place = |count: f64| {
                counts
                    .iter()
                    .position(|known| *known == count)
                    .unwrap_or_else(|| {
                        counts.push(count);
                        counts.len() - 1
                    })
            };
            End {
                day,
                storm_hours: storm.map_or(0.0, |storm| storm.hours),
                scenarios: use_of.into_iter().map(place).collect(),
            }
        });
        let ends = ends.collect();
        let hours = counts
            .into_iter()
            .map(|count| ToCome::new(&self.usage, [&[count]]));
        Ahead {
            hours: hours.collect(),
            ends,
        }
    }

    /// The chances that the part at `place` wears out, or breaks all of a sudden, by the end of the day at `end` of
    /// `ahead`: of several measures the worst, as everywhere.
    pub(crate) fn wears_out(
        &self,
        place: usize,
        part: &PartModel<'_>,
        ahead: &Ahead,
        end: usize,
    ) -> WearOut {
        // A used-up take-up is no end of a belt.
        let measures = part
            .wear
            .iter()
            .filter(|(_, measure, _)| measure.backed_by.is_none());
        let measures: Vec<_> = measures
            .map(|(check, measure, prior)| self.stands(check, measure, prior, place))
            .collect();
        let End {
            day,
            storm_hours,
            scenarios,
        } = &ahead.ends[end];
        let lives = |hours: &ToCome<1>| {
            let Some((spec, life)) = &part.life else {
                return 1.0;
            };
            let today = day_number(self.shared.today);
            match spec.clock {
                Clock::Days => {
                    let now = Moment {
                        day: today,
                        ..self.base
                    };
                    let age = self.age_at(place, part, now).map_or(0.0, |(age, _)| age);
                    life.lasts(age, f64::from((day - today).max(0)))
                }
                Clock::Hours => {
                    let age = self
                        .age_at(place, part, self.base)
                        .map_or(0.0, |(age, _)| age);
                    let lasts = life.lasts_from(age);
                    let nodes = hours.nodes.iter();
                    nodes
                        .map(|node| node.weights[0] * lasts(node.hours + storm_hours))
                        .sum()
                }
            }
        };
        let mut known: Vec<Option<f64>> = vec![None; ahead.hours.len()];
        let chances = scenarios.iter().map(|place| {
            *known[*place].get_or_insert_with(|| {
                let hours = &ahead.hours[*place];
                let measured = measures
                    .iter()
                    .map(|stands| stands.lasts(*storm_hours, hours)[0]);
                let lasts = measured.fold(1.0, f64::min) * lives(hours);
                (1.0 - lasts).clamp(0.0, 1.0)
            })
        });
        WearOut {
            chances: chances.collect(),
            never_measured: !measures.is_empty() && measures.iter().all(|stands| stands.unknown),
        }
    }
}

impl Ahead {
    /// The unit's running hours by the end of the day at `end`, in the mean of each scenario.
    pub(crate) fn mean_hours(&self, end: usize) -> Vec<f64> {
        let End {
            storm_hours,
            scenarios,
            ..
        } = &self.ends[end];
        let hours = scenarios
            .iter()
            .map(|place| self.hours[*place].table.mean()[0]);
        hours.map(|hours| hours + storm_hours).collect()
    }
}
