use super::*;
use crate::hours::{Usage, UsagePrior};
use crate::special::{ln_beta, logistic};
use proptest::prelude::*;

/// A part that wears from 6 towards 1.5 in the order of 100 h; rates doubtful as sheets allow (mean at least 2.5 sd).
fn prior() -> impl Strategy<Value = WearPrior> {
    (0.05..0.6_f64, 0.01..0.1_f64, 0.001..0.4_f64, 0.01..0.3_f64).prop_map(
        |(as_new_sd, rate, doubt, reading_sd)| WearPrior {
            as_new: 6.0,
            as_new_sd,
            rate,
            rate_sd: rate * doubt,
            reading_sd,
            grows: false,
        },
    )
}

fn readings() -> impl Strategy<Value = Vec<WearReading>> {
    prop::collection::vec((0.0..60.0_f64, -0.5..0.5_f64), 0..7).prop_map(|places| {
        places
            .into_iter()
            .map(|(hours, off)| WearReading {
                hours,
                value: 6.0 - 0.04 * hours + off,
            })
            .collect()
    })
}

fn last(readings: &[WearReading]) -> f64 {
    readings
        .iter()
        .map(|reading| reading.hours)
        .fold(0.0, f64::max)
}

/// A part of unknown age, read a few times some time on.
fn read_late() -> impl Strategy<Value = (WearPrior, Vec<WearReading>)> {
    let prior =
        (0.005..0.1_f64, 0.1..2.5_f64, 0.02..0.3_f64).prop_map(|(rate, doubt, reading_sd)| {
            WearPrior {
                as_new: 3.75,
                as_new_sd: 4.5,
                rate,
                rate_sd: rate * doubt,
                reading_sd,
                grows: false,
            }
        });
    let reading =
        (20.0..120.0_f64, -1.0..6.0_f64).prop_map(|(hours, value)| WearReading { hours, value });
    (prior, prop::collection::vec(reading, 1..4))
}

/// Use with nothing mixed: the days' shape, and what the machine ran.
fn usage(shape: f64, run_hours: f64, days: f64) -> Usage {
    let prior = UsagePrior {
        shape,
        prior_days: 5.0,
        prior_hours_per_day: 3.0,
    };
    Usage::new(&prior, run_hours, days)
}

/// The mean over hours by Simpson's rule on so many steps that any step of a part's chance is resolved: slow, and
/// nothing like the nodes of the table but for the integrand.
fn by_simpson(path: &WearPath, limit: f64, from: f64, shape: f64, a: f64, b: f64) -> f64 {
    const STEPS: usize = 200_000;
    let (low, high) = (-40.0 / shape.min(1.0), 30.0_f64);
    let width = (high - low) / STEPS as f64;
    let constant = ln_beta(shape, a);
    let value = |i: usize| {
        let t = low + width * i as f64;
        let (x, y) = logistic(t);
        let density = (shape * x.ln() + a * y.ln() - constant).exp();
        density * path.lasts(limit, from + b * t.exp())
    };
    let mut sum = value(0) + value(STEPS);
    for i in 1..STEPS {
        sum += value(i) * if i % 2 == 1 { 4.0 } else { 2.0 };
    }
    sum * width / 3.0
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever way [`WearPath::lasts_over`] takes, wide steps, sharp ones and those between, over narrow and wide hours.
    #[test]
    fn the_mean_over_hours_is_that_of_a_slow_rule(
        prior in prior(),
        readings in readings(),
        sharp in prop_oneof![Just(1.0), Just(0.03), Just(0.3)],
        from in 0.0..40.0_f64,
        run_hours in 0.0..200.0_f64,
        days in 1.0..40.0_f64,
        shape in prop_oneof![Just(1.0), Just(0.1), Just(3.0)],
    ) {
        let prior = WearPrior {
            as_new_sd: prior.as_new_sd * sharp,
            rate_sd: prior.rate_sd * sharp,
            reading_sd: prior.reading_sd * sharp,
            ..prior
        };
        let path = WearPath::new(&prior, &readings);
        // A step that falls between two points of the slow rule is not for it to judge.
        let middle = (path.as_new - 1.5) / path.rate;
        prop_assume!(middle <= 0.0 || path.value_sd(middle) > 2e-3 * (path.rate * middle).abs());
        let usage = usage(shape, run_hours, 20.0);
        let (a, b) = (shape * 25.0 + 1.0, 15.0 + run_hours);
        let [got] = path.lasts_over(1.5, from, &usage.table(&[days]));
        let slow = by_simpson(&path, 1.5, from, shape * days, a, b);
        prop_assert!((got - slow).abs() < 1e-6, "{got} {slow}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Also from before its readings, where the chance may rise before it falls, or only ever rises.
    #[test]
    fn the_mean_from_before_the_readings_is_that_of_a_slow_rule(
        (prior, readings) in read_late(),
        from in 0.0..150.0_f64,
        days in 1.0..60.0_f64,
        shape in prop_oneof![Just(1.0), Just(0.1), Just(3.0)],
    ) {
        let path = WearPath::new(&prior, &readings);
        let usage = usage(shape, 30.0, 20.0);
        let (a, b) = (shape * 25.0 + 1.0, 45.0);
        let [got] = path.lasts_over(1.5, from, &usage.table(&[days]));
        let slow = by_simpson(&path, 1.5, from, shape * days, a, b);
        prop_assert!((got - slow).abs() < 1e-6, "{got} {slow}");
    }
}

/// A part of unknown age (3.75 +- 4.5 against 1.5) read at 100 h at 1.5, asked about from before: scipy 1.17.1's
/// adaptive quadrature of the chance against scipy.stats.betaprime(20, 29, scale=42).
#[test]
fn from_before_the_readings_the_chance_is_no_step() {
    let prior = UsagePrior {
        shape: 1.0,
        prior_days: 8.0,
        prior_hours_per_day: 1.5,
    };
    let table = Usage::new(&prior, 30.0, 20.0).table(&[20.0]);
    for (rate, rate_sd, reading_sd, from, scipy) in [
        (0.01, 0.02, 0.05, 0.0, 0.745_252_537),
        (0.045, 0.03, 0.1, 0.0, 0.936_160_017),
        (0.045, 0.018, 0.1, 60.0, 0.853_822_328),
    ] {
        let prior = WearPrior {
            as_new: 3.75,
            as_new_sd: 4.5,
            rate,
            rate_sd,
            reading_sd,
            grows: false,
        };
        let path = WearPath::new(
            &prior,
            &[WearReading {
                hours: 100.0,
                value: 1.5,
            }],
        );
        let [got] = path.lasts_over(1.5, from, &table);
        assert!((got - scipy).abs() < 1e-8, "{got} {scipy}");
    }
}

proptest! {
    #[test]
    fn chances_are_chances_and_fall_with_hours(
        prior in prior(), readings in readings(), from in 0.0..100.0_f64, more in 0.0..100.0_f64,
    ) {
        let path = WearPath::new(&prior, &readings);
        let start = last(&readings).max(from);
        let (now, later) = (path.lasts(1.5, start), path.lasts(1.5, start + more));
        prop_assert!((0.0..=1.0).contains(&now) && (0.0..=1.0).contains(&later));
        // A rate that the readings turned round makes a part that does not wear.
        if path.rate > 0.0 && path.value_at(start + more) > 1.5 {
            prop_assert!(later <= now + 1e-12);
        }
    }

    /// R never rises when a part wears: a lower last reading, or a limit that is nearer, makes no part last longer.
    #[test]
    fn a_part_that_is_worn_more_lasts_no_longer(
        prior in prior(), mut readings in readings(), worn in 0.0..1.0_f64, next in 0.0..50.0_f64, days in 0..30_u32,
    ) {
        let start = last(&readings) + 1.0;
        readings.push(WearReading { hours: start, value: 6.0 - 0.04 * start });
        let table = usage(1.0, 50.0, 20.0).table(&[f64::from(days), 10.0]);
        let before = WearPath::new(&prior, &readings);
        prop_assert!(before.lasts(1.5 + worn, start + next) <= before.lasts(1.5, start + next));
        prop_assert!(before.lasts_over(1.5 + worn, start, &table)[0] <= before.lasts_over(1.5, start, &table)[0] + 1e-7);
        readings.last_mut().unwrap().value -= worn;
        let after = WearPath::new(&prior, &readings);
        prop_assert!(after.lasts(1.5, start + next) <= before.lasts(1.5, start + next) + 1e-12);
        prop_assert!(after.lasts_over(1.5, start, &table)[0] <= before.lasts_over(1.5, start, &table)[0] + 1e-7);
    }

    #[test]
    fn hours_until_a_chance_have_that_chance(
        prior in prior(), readings in readings(), from in 0.0..150.0_f64, p in 0.01..0.99_f64, limit in 0.0..5.0_f64,
    ) {
        let path = WearPath::new(&prior, &readings);
        let reached = |hours: f64| 1.0 - path.lasts(limit, hours);
        match path.hours_until(limit, from, p) {
            Some(0.0) => prop_assert!(reached(from) >= p - 1e-9),
            Some(hours) => {
                prop_assert!(hours > 0.0);
                prop_assert!((reached(from + hours) - p).abs() < 1e-9);
                prop_assert!(reached(from + 0.999 * hours) <= p + 1e-9);
            }
            None => {
                for hours in [0.0, 1.0, 10.0, 1e2, 1e3, 1e4, 1e6, 1e9] {
                    prop_assert!(reached(from + hours) < p + 1e-9);
                }
            }
        }
    }

    #[test]
    fn a_measure_that_grows_is_the_mirror_of_one_that_falls(
        prior in prior(), readings in readings(), hours in 0.0..200.0_f64,
    ) {
        let falls = WearPath::new(&prior, &readings);
        let mirrored: Vec<WearReading> = readings
            .iter()
            .map(|reading| WearReading { value: -reading.value, ..*reading })
            .collect();
        let grows = WearPath::new(&WearPrior { as_new: -6.0, grows: true, ..prior }, &mirrored);
        prop_assert_eq!(falls.lasts(1.5, hours), grows.lasts(-1.5, hours));
        prop_assert_eq!(falls.as_new, -grows.as_new);
        prop_assert_eq!(falls.rate, grows.rate);
        prop_assert_eq!(falls.covariance[0][1], -grows.covariance[1][0]);
        prop_assert_eq!(falls.value_at(hours), -grows.value_at(hours));
        prop_assert_eq!(falls.hours_until(1.5, hours, 0.5), grows.hours_until(-1.5, hours, 0.5));
    }

    #[test]
    fn readings_in_any_order_say_the_same(prior in prior(), mut readings in readings()) {
        let there = WearPath::new(&prior, &readings);
        readings.reverse();
        let back = WearPath::new(&prior, &readings);
        prop_assert!((there.rate - back.rate).abs() < 1e-12);
        prop_assert!((there.lasts(1.5, 80.0) - back.lasts(1.5, 80.0)).abs() < 1e-10);
    }
}

/// Without a reading the path is the prior: at 100 h 6 - 0.04 x 100 = 2, variance 0.3^2 + (100 x 0.01)^2 = 1.09;
/// (2 - 1.5)/sqrt(1.09) = 0.4789, and P(Z <= 0.4789) is 0.6840 (any normal table).
#[test]
fn without_readings_the_prior_speaks() {
    let prior = WearPrior {
        as_new: 6.0,
        as_new_sd: 0.3,
        rate: 0.04,
        rate_sd: 0.01,
        reading_sd: 0.2,
        grows: false,
    };
    let path = WearPath::new(&prior, &[]);
    assert_eq!((path.as_new, path.rate), (6.0, 0.04));
    assert!((path.lasts(1.5, 100.0) - 0.6840).abs() < 5e-5);
    // In the median (6 - 1.5)/0.04 = 112.5 h.
    assert!((path.hours_until(1.5, 0.0, 0.5).unwrap() - 112.5).abs() < 1e-9);
    assert_eq!(path.hours_until(1.5, 120.0, 0.5), Some(0.0));
}

/// The rate may well be nothing: P(reached) never passes P(B > 0) = P(Z <= 0.5) = 0.69.
#[test]
fn a_part_that_may_not_wear_at_all_never_comes_to_nine_in_ten() {
    let prior = WearPrior {
        as_new: 6.0,
        as_new_sd: 0.3,
        rate: 0.01,
        rate_sd: 0.02,
        reading_sd: 0.2,
        grows: false,
    };
    let path = WearPath::new(&prior, &[]);
    assert_eq!(path.hours_until(1.5, 0.0, 0.9), None);
    assert!(path.hours_until(1.5, 0.0, 0.5).is_some());
    assert!(path.hours_until(1.5, 0.0, 0.1).is_some());
}
