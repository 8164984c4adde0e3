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
///
/// Said by how many of its standard deviations the measure is short of the limit then: the normal quantiles of the other
/// nine, seven, .. tenths.
pub(super) const PATHS: [f64; 5] = [
    1.281_551_565_544_600_4,
    0.524_400_512_708_040_7,
    0.0,
    -0.524_400_512_708_040_7,
    -1.281_551_565_544_600_4,
];

/// The days to come on which a unit may reach a limit.
#[derive(Debug)]
pub(crate) struct Dates<'a> {
    /// Shape of the hours of one day of use.
    shape: f64,
    /// What the unit's rate of use adds to the mean of the logarithm of hours, and to its variance.
    of_rate: (f64, f64),
    use_days: DaysOfUse<'a>,
    /// From which its hours are counted.
    base: i32,
    storm: Option<DatedStorm>,
    /// The base and all days after it on which it may run: on no other a limit is reached.
    days: Vec<i32>,
    /// Of the logarithm of hours on so many days of use the mean and one over the standard deviation, worked out when
    /// first asked for. All parts of the unit share them.
    by_count: Vec<Option<(f64, f64)>>,
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
        let hours = PATHS.map(|z| path.hours_until_score(limit, from, z));
        self.dates.borrow_mut().reached_by(hours)
    }

    /// Days by which the unit has run so many hours in all with chance 0.1, 0.5 and 0.9, counted from its last meter
    /// reading: the day of that where it had.
    pub fn hours_reached_by(&self, hours: f64) -> [Option<Date>; 3] {
        let from_base = (hours - self.base.hours).max(0.0);
        let found = self.dates.borrow_mut().reached_by([Some(from_base)]);
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
        self.dates.borrow().storm
    }
}

impl<'a> Dates<'a> {
    /// Of a unit of that use, whose hours are counted from the day `base`.
    pub(crate) fn new(
        usage: Usage,
        use_days: DaysOfUse<'a>,
        base: i32,
        storm: Option<DatedStorm>,
    ) -> Self {
        let mut days = vec![base];
        days.extend_from_slice(use_days.after(base));
        if let Some(storm) = storm.filter(|storm| storm.first_day <= use_days.horizon()) {
            let place = days.partition_point(|day| *day < storm.first_day);
            if place > 0 && days.get(place) != Some(&storm.first_day) {
                days.insert(place, storm.first_day);
            }
        }
        let (shape, a, b) = usage.parameters();
        Dates {
            shape,
            of_rate: (b.ln() - digamma(a), trigamma(a)),
            use_days,
            base,
            storm,
            days,
            by_count: Vec::new(),
        }
    }

    /// The logarithm of the hours on `count` days of use: mean and one over the standard deviation, exact for a ratio of
    /// two Gammas, which they are, taken for normal.
    fn log_hours_on(&mut self, count: u32) -> (f64, f64) {
        if count == 0 {
            // No hours at all.
            return (f64::MIN, 1.0);
        }
        let place = count as usize;
        if self.by_count.len() <= place {
            self.by_count.resize((place + 1).max(64), None);
        }
        *self.by_count[place].get_or_insert_with(|| {
            let shape = self.shape * f64::from(count);
            let (mean, variance) = self.of_rate;
            (
                digamma(shape) + mean,
                1.0 / (trigamma(shape) + variance).sqrt(),
            )
        })
    }

    /// Days by which a limit is reached with chance 0.1, 0.5 and 0.9, of paths that reach it after so many hours, or never.
    pub(crate) fn reached_by<const PATHS: usize>(
        &mut self,
        hours_until: [Option<f64>; PATHS],
    ) -> Quantiles<Date> {
        const CHANCES: [f64; 3] = [0.1, 0.5, 0.9];
        let last = self.days.len() - 1;
        // Of each chance the places among the days where the first on which it is reached may be: each look serves all three.
        let mut places = CHANCES.map(|_| 0..last + 1);
        let mut reached = self.reached(hours_until);
        let mut look = Some(last);
        while let Some(place) = look {
            let chance = reached(place);
            for (places, p) in places.iter_mut().zip(CHANCES) {
                if chance >= p {
                    places.end = places.end.min(place);
                } else {
                    places.start = places.start.max(place + 1);
                }
            }
            let open = places.iter().find(|places| !places.is_empty());
            look = open.map(|open| open.start + open.len() / 2);
        }
        drop(reached);
        let [p10, p50, p90] = places.map(|places| Some(date_of(*self.days.get(places.end)?)));
        Quantiles { p10, p50, p90 }
    }

    /// The chance that a limit is reached by the day at a place among its days, by any of such paths, all as likely.
    fn reached<const PATHS: usize>(
        &mut self,
        hours_until: [Option<f64>; PATHS],
    ) -> impl FnMut(usize) -> f64 {
        let normal = FastNormal::new();
        let log = |spent: f64| {
            hours_until
                .map(|hours| hours.map_or(f64::INFINITY, |hours| (hours - spent).max(0.0).ln()))
        };
        let (base, use_days, storm) = (self.base, self.use_days, self.storm);
        let (without, with) = (log(0.0), log(storm.map_or(0.0, |storm| storm.hours)));
        move |place| {
            let day = self.days[place];
            let mut sum = 0.0;
            let storm = storm.filter(|storm| storm.first_day <= day);
            let until = if storm.is_some() { with } else { without };
            for scenario in 0..use_days.scenarios() {
                let count = match storm {
                    None => use_days.between(scenario, base, day + 1),
                    Some(storm) => {
                        use_days.between(scenario, base, storm.first_day)
                            + use_days.between(scenario, storm.last_day, day + 1)
                    }
                };
                let (mean, inverse_sd) = self.log_hours_on(count);
                for log_hours in until {
                    sum += normal.cdf((mean - log_hours) * inverse_sd);
                }
            }
            sum / (use_days.scenarios() * PATHS) as f64
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::facts::MonthDay;
    use crate::hours::UsagePrior;
    use crate::season::{Winter, day_number};
    use crate::sheet::Exposure;
    use crate::snow_days::{Counted, FixedSeason, OnRecord, SnowDays, counted};
    use crate::special::normal_quantile;
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
                let found = Dates::new(usage, days, base, None)
                    .reached_by(PATHS.map(|z| path.hours_until_score(1.5, from, z)));
                let found = [found.p10, found.p50, found.p90];
                for (p, found) in [0.1, 0.5, 0.9].into_iter().zip(found) {
                    let exact = (1..600).find(|count| {
                        let table = usage.table(&[f64::from(*count)]);
                        1.0 - path.lasts_over(1.5, from, &table)[0] >= p
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
    fn the_paths_are_those_of_odd_tenths() {
        for (z, tenths) in PATHS.into_iter().zip([9.0, 7.0, 5.0, 3.0, 1.0]) {
            assert!((z - normal_quantile(tenths / 10.0)).abs() < 1e-14, "{z}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Against a look at every day from the first on.
        #[test]
        fn dates_are_the_first_days_of_all(
            scenarios in prop::collection::vec(prop::collection::vec(-50..700_i32, 0..80), 1..4),
            hours in prop::array::uniform5(prop::option::of(0.0..200.0_f64)),
            storm in prop::option::of((1..800_i32, 0..5_i32, 0.0..40.0_f64)), run_hours in 0.0..100.0_f64,
        ) {
            let counts = scenarios.into_iter().map(|mut days| {
                days.sort_unstable();
                days.dedup();
                counted(-50, 700, days.into_iter())
            });
            let days = Counted::new(-50, counts.collect());
            let storm = storm.map(|(first_day, more, hours)| DatedStorm {
                first_day, last_day: first_day + more, hours,
            });
            let prior = UsagePrior { shape: 1.0, prior_days: 8.0, prior_hours_per_day: 1.5 };
            let usage = Usage::new(&prior, run_hours, 20.0);
            let found = Dates::new(usage, days.days(), 0, storm).reached_by(hours);
            let mut all = Dates::new(usage, days.days(), 0, storm);
            all.days = (0..=days.days().horizon()).collect();
            let count = all.days.len();
            let mut reached = all.reached(hours);
            let chances: Vec<f64> = (0..count).map(&mut reached).collect();
            for (p, found) in [(0.1, found.p10), (0.5, found.p50), (0.9, found.p90)] {
                // A chance may come to p itself, but for its last digit, and stay there.
                let day = found.map_or(count, |day| day_number(day) as usize);
                prop_assert!(chances[..day].iter().all(|chance| *chance < p + 1e-9));
                prop_assert!(chances.get(day).is_none_or(|chance| *chance > p - 1e-9));
            }
        }
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
        let reached = |hours| Dates::new(usage, days, day_number(today), None).reached_by(hours);
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
            let found = Dates::new(usage, days, base, storm).reached_by([Some(hours); 5]);
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
