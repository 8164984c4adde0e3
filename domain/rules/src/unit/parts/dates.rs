//! By which day a limit is reached: through the scenarios' dated days of use.

use jiff::civil::Date;

use super::{Quantiles, Running};
use crate::calculations::due::{HoursAhead, StormAhead};
use crate::calculations::wear_season::UsageInput;
use crate::hours::Usage;
use crate::season::date_of;
use crate::snow_days::DaysOfUse;
use crate::special::{FastNormal, digamma, trigamma};
use crate::wear::WearPath;

/// The path is taken for five equally likely ones: those that reach the limit at the tenth, three tenths, .. of its hours.
/// Where only the path is doubtful, the 10, 50 and 90 % of these are its own exactly; where only the use is, all five are
/// the same path. (Nodes over the hours of use instead are steps, up to 13 days of use off.)
const PATHS: [f64; 5] = [0.1, 0.3, 0.5, 0.7, 0.9];

/// Dates of a unit's hours to come. Hours on so many days of use are kept as mean and standard deviation of their logarithm, worked out when first asked for.
#[derive(Debug, Default)]
pub(crate) struct Dates {
    by_days: Vec<Option<(f64, f64)>>,
}

/// A storm in the days to come: its hours stand for the days of use it covers.
#[derive(Debug, Clone, Copy)]
pub(crate) struct DatedStorm {
    /// After the base.
    pub(crate) first_day: i32,
    pub(crate) last_day: i32,
    pub(crate) hours: f64,
}

impl Running<'_> {
    /// Days by which `limit` is reached with chance 0.1, 0.5 and 0.9 by a path that is `from` hours old at the base. A
    /// storm that has a date counts with its hours; the design storm has none.
    pub(super) fn reached_by(&self, path: &WearPath, limit: f64, from: f64) -> Quantiles<Date> {
        self.dates.borrow_mut().reached_by(
            &self.usage,
            self.clock.days_of_use(self.shared),
            self.base.day,
            self.dated_storm(),
            PATHS.map(|p| path.hours_until(limit, from, p)),
        )
    }

    /// Days by which the unit has run so many hours in all with chance 0.1, 0.5 and 0.9, counted from its last meter
    /// reading: the day of that where it had.
    pub fn hours_reached_by(&self, hours: f64) -> [Option<Date>; 3] {
        let from_base = (hours - self.base.hours).max(0.0);
        let found = self.dates.borrow_mut().reached_by(
            &self.usage,
            self.clock.days_of_use(self.shared),
            self.base.day,
            self.dated_storm(),
            [Some(from_base)],
        );
        [found.p10, found.p50, found.p90]
    }

    /// The unit's hours to come as the `due` calculation asks for them.
    pub(crate) fn hours_ahead(&self) -> HoursAhead {
        let days = self.clock.days_of_use(self.shared);
        let (prior, run_hours, snow_days) = self.usage.made_from();
        HoursAhead {
            usage: UsageInput {
                shape: prior.shape,
                prior_days: prior.prior_days,
                prior_hours_per_day: prior.prior_hours_per_day,
                run_hours,
                snow_days,
            },
            after: date_of(self.base.day),
            hours: self.base.hours,
            days_of_use: days.dated(self.base.day),
            until: date_of(days.horizon()),
            storm: self.dated_storm().map(|storm| StormAhead {
                first_day: date_of(storm.first_day),
                last_day: date_of(storm.last_day),
                hours: storm.hours,
            }),
        }
    }

    pub(super) fn dated_storm(&self) -> Option<DatedStorm> {
        let storm = &self.shared.storm;
        storm.starts_at.map(|_| DatedStorm {
            first_day: storm.first_day.max(self.base.day + 1),
            last_day: storm.last_day.max(self.base.day),
            hours: self.storm_hours,
        })
    }
}

impl Dates {
    /// Mean and standard deviation of the logarithm of the hours on `days` days of use, over 0: exact for a ratio of two
    /// Gammas, which they are, taken for normal. Every part of the unit shares them.
    fn log_hours_on(&mut self, usage: &Usage, days: u32) -> (f64, f64) {
        let place = days as usize;
        if self.by_days.len() <= place {
            self.by_days.resize((place + 1).max(64), None);
        }
        *self.by_days[place].get_or_insert_with(|| {
            let (shape, a, b) = usage.parameters();
            let shape = shape * f64::from(days);
            let mean = digamma(shape) - digamma(a) + b.ln();
            (mean, (trigamma(shape) + trigamma(a)).sqrt())
        })
    }

    /// Days by which a limit is reached with chance 0.1, 0.5 and 0.9, counted from the day `base`: of paths that reach it
    /// after so many hours, or never.
    pub(crate) fn reached_by<const PATHS: usize>(
        &mut self,
        usage: &Usage,
        days: DaysOfUse<'_>,
        base: i32,
        storm: Option<DatedStorm>,
        hours_until: [Option<f64>; PATHS],
    ) -> Quantiles<Date> {
        let normal = FastNormal::new();
        let log = |spent: f64| {
            hours_until
                .map(|hours| hours.map_or(f64::INFINITY, |hours| (hours - spent).max(0.0).ln()))
        };
        let (without, with) = (log(0.0), log(storm.map_or(0.0, |storm| storm.hours)));
        let mut reached = |day: i32| {
            let mut sum = 0.0;
            let storm = storm.filter(|storm| storm.first_day <= day);
            let until = if storm.is_some() { with } else { without };
            for scenario in 0..days.scenarios() {
                let count = match storm {
                    None => days.between(scenario, base, day + 1),
                    Some(storm) => {
                        days.between(scenario, base, storm.first_day)
                            + days.between(scenario, storm.last_day, day + 1)
                    }
                };
                let (mean, sd) = if count > 0 {
                    self.log_hours_on(usage, count)
                } else {
                    // No hours at all.
                    (f64::NEG_INFINITY, 1.0)
                };
                for log_hours in until {
                    sum += match log_hours {
                        f64::NEG_INFINITY => 1.0,
                        f64::INFINITY => 0.0,
                        log_hours => normal.cdf((mean - log_hours) / sd),
                    };
                }
            }
            sum / (days.scenarios() * PATHS) as f64
        };
        let horizon = days.horizon().max(base);
        let at_last = reached(horizon);
        let mut first_day = |p: f64, from: i32| {
            if at_last < p {
                return None;
            }
            let (mut low, mut high) = (from, horizon);
            while low < high {
                let middle = low + (high - low) / 2;
                if reached(middle) >= p {
                    high = middle;
                } else {
                    low = middle + 1;
                }
            }
            Some(high)
        };
        let p10 = first_day(0.1, base);
        let p50 = p10.and_then(|from| first_day(0.5, from));
        let p90 = p50.and_then(|from| first_day(0.9, from));
        Quantiles {
            p10: p10.map(date_of),
            p50: p50.map(date_of),
            p90: p90.map(date_of),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facts::MonthDay;
    use crate::hours::UsagePrior;
    use crate::season::{Winter, day_number};
    use crate::sheet::Exposure;
    use crate::snow_days::{FixedSeason, OnRecord, SnowDays};
    use crate::wear::{WearPrior, WearReading};

    /// Against the chance averaged over the hours (`lasts_over`, which is held to scipy): on how many days of use it first
    /// is 0.1, 0.5 and 0.9.
    #[test]
    fn dates_are_those_of_the_averaged_chance() {
        let (starts, ends) = (
            MonthDay::parse("11-15").unwrap(),
            MonthDay::parse("04-10").unwrap(),
        );
        let base = day_number(Winter(2025).starts());
        let days = typical(Winter(2025).starts(), starts, ends);
        let days = days.of(Exposure::SnowDays);
        let prior = UsagePrior {
            shape: 1.0,
            prior_days: 8.0,
            prior_hours_per_day: 1.5,
        };
        let rings = WearPrior {
            as_new: 5.5,
            as_new_sd: 0.25,
            rate: 0.05,
            rate_sd: 0.02,
            reading_sd: 0.1,
            grows: false,
        };
        let mut worst = 0.0_f64;
        for (run_hours, run_days) in [(0.0, 0.0), (12.0, 9.0), (47.0, 29.0), (400.0, 250.0)] {
            let usage = Usage::new(&prior, run_hours, run_days);
            for read in [
                &[][..],
                &[(20.0, 4.6)],
                &[(20.0, 4.5), (40.0, 3.4), (60.0, 2.4)],
            ] {
                let readings: Vec<WearReading> = read
                    .iter()
                    .map(|(hours, value)| WearReading {
                        hours: *hours,
                        value: *value,
                    })
                    .collect();
                let path = WearPath::new(&rings, &readings);
                let from = read.last().map_or(0.0, |reading| reading.0);
                let found = Dates::default().reached_by(
                    &usage,
                    days,
                    base,
                    None,
                    PATHS.map(|p| path.hours_until(1.5, from, p)),
                );
                let found = [found.p10, found.p50, found.p90];
                for (p, found) in [0.1, 0.5, 0.9].into_iter().zip(found) {
                    let exact = (1..600).find(|count| {
                        let table = usage.table(&[f64::from(*count)]);
                        1.0 - path.lasts_over(1.5, from, &table) >= p
                    });
                    let (Some(exact), Some(found)) = (exact, found) else {
                        panic!("{exact:?} {found:?}");
                    };
                    let found = days.between(0, base, day_number(found) + 1);
                    let off =
                        (f64::from(found) - f64::from(exact)).abs() / f64::from(exact).max(20.0);
                    worst = worst.max(off);
                    assert!(
                        off <= 0.1,
                        "{run_hours} h on {run_days} days, {read:?}, p {p}: {found}, exactly {exact}"
                    );
                }
            }
        }
        println!("worst {worst}");
    }

    #[test]
    fn what_is_past_is_reached_today_and_what_never_comes_has_no_date() {
        let (starts, ends) = (
            MonthDay::parse("11-15").unwrap(),
            MonthDay::parse("04-10").unwrap(),
        );
        let today = Winter(2025).starts();
        let days = typical(today, starts, ends);
        let days = days.of(Exposure::SnowDays);
        let prior = UsagePrior {
            shape: 1.0,
            prior_days: 8.0,
            prior_hours_per_day: 1.5,
        };
        let usage = Usage::new(&prior, 400.0, 250.0);
        let reached =
            |hours| Dates::default().reached_by(&usage, days, day_number(today), None, hours);
        let past = reached([Some(0.0); 5]);
        assert_eq!([past.p10, past.p50, past.p90], [Some(today); 3]);
        let never = reached([None; 5]);
        assert_eq!([never.p10, never.p50, never.p90], [None; 3]);
        let half = reached([Some(10.0), Some(20.0), Some(30.0), None, None]);
        assert!(half.p10.is_some() && half.p50.is_some() && half.p90.is_none());
    }
    /// A storm of 12 hours that stands for its days: who has 10 hours to go reaches the limit on its first day, who has 20
    /// as many days of use after it as 8 hours take.
    #[test]
    fn a_dated_storm_counts_with_its_hours() {
        let (starts, ends) = (
            MonthDay::parse("11-15").unwrap(),
            MonthDay::parse("04-10").unwrap(),
        );
        let today = date_of(day_number(Winter(2025).starts()) + 150);
        let days = typical(today, starts, ends);
        let days = days.of(Exposure::SnowDays);
        let prior = UsagePrior {
            shape: 1.0,
            prior_days: 8.0,
            prior_hours_per_day: 1.5,
        };
        let usage = Usage::new(&prior, 400.0, 250.0);
        let base = day_number(today);
        let storm = DatedStorm {
            first_day: base + 40,
            last_day: base + 41,
            hours: 12.0,
        };
        let p50 = |storm, base, hours| {
            let found = Dates::default().reached_by(&usage, days, base, storm, [Some(hours); 5]);
            day_number(found.p50.unwrap())
        };
        // 60 days of use on 147 days at 1.6 hours: 40 days are some 26 hours.
        let few = DatedStorm {
            first_day: base + 3,
            last_day: base + 4,
            ..storm
        };
        assert_eq!(p50(Some(few), base, 10.0), base + 3);
        assert_eq!(
            p50(Some(storm), base, 10.0),
            p50(None, base, 10.0),
            "before the storm"
        );
        let after = p50(Some(few), base, 20.0);
        let eight = p50(None, base, 8.0);
        assert!((eight - 2..=eight + 4).contains(&after), "{after} {eight}");
    }

    fn typical(today: Date, starts: MonthDay, ends: MonthDay) -> SnowDays {
        let fixed = FixedSeason {
            starts,
            ends,
            snow_days: 60,
        };
        SnowDays::new(today, fixed, OnRecord::default())
    }
}
