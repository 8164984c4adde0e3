use super::*;
use crate::special::normal_cdf;
use proptest::prelude::*;

fn usage() -> impl Strategy<Value = Usage> {
    (
        prop_oneof![Just(1.0), Just(2.0), 0.05..4.0_f64],
        1.0..30.0_f64,
        0.5..8.0_f64,
        0.0..300.0_f64,
        0.0..60.0_f64,
    )
        .prop_map(
            |(shape, prior_days, prior_hours_per_day, run_hours, snow_days)| {
                let prior = UsagePrior {
                    shape,
                    prior_days,
                    prior_hours_per_day,
                };
                Usage::new(&prior, run_hours, snow_days)
            },
        )
}

fn scenarios() -> impl Strategy<Value = Vec<f64>> {
    prop::collection::vec((0..60_u32).prop_map(f64::from), 1..12)
}

proptest! {
    /// h / (h + b) is Beta(k e, a): its first two moments are rational.
    #[test]
    fn nodes_have_the_moments_of_the_distribution(usage in usage(), days in scenarios()) {
        let table = usage.table(&days);
        let [first] = table.average(|h| h / (h + usage.b));
        let [second] = table.average(|h| (h / (h + usage.b)).powi(2));
        let share = 1.0 / days.len() as f64;
        let (mut exact_first, mut exact_second) = (0.0, 0.0);
        for e in &days {
            let k = usage.shape * e;
            let mean = k / (k + usage.a);
            exact_first += share * mean;
            exact_second += share * mean * (k + 1.0) / (k + usage.a + 1.0);
        }
        prop_assert!((first - exact_first).abs() < 1e-11, "{first} {exact_first}");
        prop_assert!((second - exact_second).abs() < 1e-11, "{second} {exact_second}");
        prop_assert!((table.average(|_| 1.0)[0] - 1.0).abs() < 1e-12);
    }

    /// Hundreds of days make a density narrower than the bend of the nodes: it must not be missed.
    #[test]
    fn nodes_find_narrow_distributions_too(usage in usage(), days in 1.0..3000.0_f64) {
        let table = usage.table(&[days]);
        let k = usage.shape * days;
        let [first] = table.average(|h| h / (h + usage.b));
        prop_assert!((first - k / (k + usage.a)).abs() < 1e-10, "{first}");
        let coarse: f64 = table.coarse().iter().map(|node| node.weights[0] * node.hours / (node.hours + usage.b)).sum();
        prop_assert!((coarse - first).abs() < 1e-4, "{coarse} {first}");
        prop_assert!(1.0 - table.at_most(table.nearly_most()[0])[0] < 1e-5);
    }

    /// What the few nodes are for: the life of a part, from one that ends within the winter to one of the default sheets'
    /// longest, against all nodes.
    #[test]
    fn few_nodes_are_enough_for_a_life(
        usage in usage(), days in scenarios(), shape in 1.0..4.0_f64, scale in 100.0..3000.0_f64, age in 0.0..200.0_f64,
    ) {
        let table = usage.table(&days);
        let life = crate::life::Life::new(shape, scale, 3.0, &[]);
        let lasts = |hours: f64| life.lasts(age, hours + 12.0);
        let coarse: f64 = table.coarse().iter().map(|node| node.weights[0] * lasts(node.hours)).sum();
        let [all] = table.average(lasts);
        prop_assert!((coarse - all).abs() < 1e-4, "{coarse} {all}");
    }

    #[test]
    fn the_mixture_is_the_mean_of_its_scenarios(usage in usage(), days in scenarios(), hours in 0.0..400.0_f64) {
        let table = usage.table(&days);
        let apart: f64 = days.iter().map(|e| usage.at_most(*e, hours)).sum::<f64>() / days.len() as f64;
        prop_assert!((table.at_most(hours)[0] - apart).abs() < 1e-12);
    }

    #[test]
    fn a_quantile_has_its_chance(usage in usage(), days in 0.5..60.0_f64, p in 0.001..0.999_f64) {
        let hours = usage.quantile(days, p);
        prop_assert!(hours < 1e-280 || (usage.at_most(days, hours) / p - 1.0).abs() < 1e-9);
    }

    #[test]
    fn more_days_are_more_hours(usage in usage(), days in 0.0..60.0_f64, more in 0.0..10.0_f64, hours in 0.0..300.0_f64) {
        let now = usage.at_most(days, hours);
        prop_assert!((0.0..=1.0).contains(&now));
        prop_assert!(usage.at_most(days + more, hours) <= now + 1e-14);
        prop_assert!(usage.at_most(days, hours + more) >= now - 1e-14);
    }
}

/// Where the nodes begin to spread out, a step that they nearly miss is averaged on finer ones.
#[test]
fn a_step_at_the_knee_is_averaged_as_on_many_nodes() {
    let usages = [
        (2.0, 3.0, 54.0, 5.0),
        (20.0, 3.0, 0.0, 2.0),
        (5.0, 2.0, 30.0, 12.0),
    ];
    for (prior_days, prior_hours_per_day, run_hours, days) in usages {
        let prior = UsagePrior {
            shape: 1.0,
            prior_days,
            prior_hours_per_day,
        };
        let usage = Usage::new(&prior, run_hours, 0.0);
        let table = usage.table(&[days]);
        let many = HoursTable {
            lattice: table.build(0.002, table.lattice.knee),
            ..table.clone()
        };
        for place in -20..=20 {
            let middle = usage.b * (table.lattice.knee + 0.1 * f64::from(place)).exp();
            for relative in [0.1101, 0.115, 0.13, 0.16, 0.2] {
                let width = relative * middle;
                let survival = |hours: f64| normal_cdf((middle - hours) / width);
                let [step] = table.average_step(middle, width, survival, |z| middle - width * z);
                let [all] = many.average(survival);
                assert!((step - all).abs() < 1e-7, "{middle} {width}: {step} {all}");
            }
        }
    }
}

/// Ten days of 3 h before, none run: the mean is the prior's; and 20 h on 10 days more bring it to 50/20.
#[test]
fn the_mean_rate_is_hours_over_days() {
    let prior = UsagePrior {
        shape: 1.0,
        prior_days: 10.0,
        prior_hours_per_day: 3.0,
    };
    assert!((Usage::new(&prior, 0.0, 0.0).hours_per_day() - 3.0).abs() < 1e-12);
    assert!((Usage::new(&prior, 20.0, 10.0).hours_per_day() - 2.5).abs() < 1e-12);
    let table = Usage::new(&prior, 20.0, 10.0).table(&[0.0, 8.0]);
    assert!((table.mean()[0] - 10.0).abs() < 1e-12);
}

#[test]
fn no_days_are_no_hours() {
    let prior = UsagePrior {
        shape: 1.0,
        prior_days: 10.0,
        prior_hours_per_day: 3.0,
    };
    // Hours on no snow days at all are real: a machine lent out, or run in.
    let usage = Usage::new(&prior, 20.0, 0.0);
    assert_eq!(usage.at_most(0.0, 0.0), 1.0);
    assert_eq!(usage.quantile(0.0, 0.9), 0.0);
    assert_eq!(usage.table(&[0.0, 0.0]).none(), [1.0]);
    assert_eq!(usage.table(&[]).average(|h| h + 2.0), [2.0]);
    let half = usage.table(&[0.0, 7.0]);
    assert_eq!(half.none(), [0.5]);
    assert_eq!(half.at_most(0.0), [0.5]);
    assert_eq!(half.at_most(-1.0), [0.0]);
}

proptest! {
    /// Against the sum over all nodes, and over the crossing at finer steps, where each is asked for.
    #[test]
    fn what_is_left_out_of_a_mean_is_nothing(
        usage in usage(), days in scenarios(), middle in 1.0..300.0_f64, width in 0.01..0.5_f64,
    ) {
        let table = usage.table(&days);
        let survival = |hours: f64| normal_cdf((middle - hours) / (width * middle));
        let nodes = table.lattice.nodes.iter();
        let all: f64 = nodes.map(|node| node.weights[0] * survival(node.hours)).sum();
        let [mean] = table.average(survival);
        prop_assert!((mean - all - table.none()[0] * survival(0.0)).abs() < 1e-12, "{mean}");
        // Narrow against the hours, as in `average_step`.
        let width = 0.1_f64.min(1.1 * table.lattice.step).min(width);
        let crossing = |z: f64| middle * (1.0 - width * z);
        let steps = (-160..=160).map(|i| f64::from(i) / 20.0);
        let weights: f64 = steps.clone().map(normal_density).sum();
        let finer: f64 = steps.map(|z| normal_density(z) * table.at_most(crossing(z))[0]).sum();
        let [mean] = table.average_over_crossing(crossing);
        prop_assert!((mean - finer / weights).abs() < 1e-12, "{mean} {}", finer / weights);
    }
}

proptest! {
    /// Until several days at once, on nodes that all share, as until each alone.
    #[test]
    fn several_days_are_as_each_alone(
        usage in usage(), days in prop::array::uniform3(scenarios()), middle in 1.0..300.0_f64, width in 0.01..0.5_f64,
    ) {
        let all = usage.tables([&days[0], &days[1], &days[2]]);
        let survival = |hours: f64| normal_cdf((middle - hours) / (width * middle));
        let crossing = |z: f64| middle * (1.0 + width * z);
        let means = all.average_step(middle, width * middle, survival, |z| crossing(-z));
        let about = all.average_about(&[(middle, width * middle)], survival);
        for (day, days) in days.iter().enumerate() {
            let alone = usage.table(days);
            prop_assert!((all.mean()[day] - alone.mean()[0]).abs() < 1e-9);
            prop_assert_eq!(all.at_most(middle)[day], alone.at_most(middle)[0]);
            let [mean] = alone.average_step(middle, width * middle, survival, |z| crossing(-z));
            prop_assert!((means[day] - mean).abs() < 1e-6, "{} {mean}", means[day]);
            prop_assert!((about[day] - mean).abs() < 1e-6, "{} {mean}", about[day]);
        }
    }
}
