//! Read at -1, 0 and 1 hours by everybody, levels and slopes are orthogonal, and the restricted likelihood is that of
//! three mean squares (the balanced case: Searle, Casella & McCulloch, Variance Components, chapter 4): within lines on
//! g, of slopes and of means on g - 1 degrees of freedom. Hours of under 0 are for the mathematics only.

use super::*;
use crate::wear::draws::{Draws, TRUTH};

const GROUPS: usize = 9;

/// The three mean squares of groups read at -1, 0 and 1: within lines, of slopes (times 2), of means (times 3).
fn mean_squares(groups: &[Vec<MeanReading>]) -> [f64; 3] {
    let lines: Vec<[f64; 3]> = groups
        .iter()
        .map(|group| {
            let [a, b, c] = [group[0].value, group[1].value, group[2].value];
            // Of three equally spaced values the second difference is all that a line leaves.
            [
                (a + b + c) / 3.0,
                (c - a) / 2.0,
                (a - 2.0 * b + c).powi(2) / 6.0,
            ]
        })
        .collect();
    let g = groups.len() as f64;
    let variance = |of: usize| {
        let mean = lines.iter().map(|line| line[of]).sum::<f64>() / g;
        lines
            .iter()
            .map(|line| (line[of] - mean).powi(2))
            .sum::<f64>()
            / (g - 1.0)
    };
    let within = lines.iter().map(|line| line[2]).sum::<f64>() / g;
    [within, 2.0 * variance(1), 3.0 * variance(0)]
}

fn fleet(as_new_sd: f64, rate_sd: f64, draws: &mut Draws) -> Vec<Vec<MeanReading>> {
    (0..GROUPS)
        .map(|_| {
            let (a, b) = (as_new_sd * draws.normal(), rate_sd * draws.normal());
            [-1.0, 0.0, 1.0]
                .map(|hours| reading(hours, 5.0 + a - (2.0 + b) * hours + draws.normal()))
                .to_vec()
        })
        .collect()
}

#[test]
fn balanced_spreads_are_those_of_mean_squares() {
    let mut draws = Draws(1);
    for _ in 0..50 {
        let groups = fleet(3.0, 3.0, &mut draws);
        let [within, slopes, means] = mean_squares(&groups);
        let got = fit(&groups, false, Method::Reml).unwrap();
        assert!(slopes > within && means > within);
        let g = GROUPS as f64;
        close(got.reading_sd, within.sqrt());
        close(got.as_new_sd, ((means - within) / 3.0).sqrt());
        close(got.rate_sd, ((slopes - within) / 2.0).sqrt());
        close(got.standard_errors.as_new, (means / 3.0 / g).sqrt());
        close(got.standard_errors.rate, (slopes / 2.0 / g).sqrt());
        // A mean square on f degrees of freedom has the variance 2 m^2 / f; a spread is the root of their difference.
        let of = |m: f64, f: f64| 2.0 * m * m / f;
        let spread =
            |m: f64, n: f64, sd: f64| (of(m, g - 1.0) + of(within, g)).sqrt() / n / (2.0 * sd);
        close(
            got.standard_errors.reading_sd.unwrap(),
            of(within, g).sqrt() / 2.0 / got.reading_sd,
        );
        close(
            got.standard_errors.as_new_sd.unwrap(),
            spread(means, 3.0, got.as_new_sd),
        );
        close(
            got.standard_errors.rate_sd.unwrap(),
            spread(slopes, 2.0, got.rate_sd),
        );
        // Three independent normal samples; the line's information is 3g of the mean and 2g of the slope.
        let part = |m: f64, f: f64| f * (m.ln() + 1.0 + std::f64::consts::TAU.ln());
        let by_hand = part(within, g)
            + part(slopes, g - 1.0)
            + part(means, g - 1.0)
            + (3.0 * g).ln()
            + (2.0 * g).ln();
        close(got.log_likelihood, -0.5 * by_hand);
    }
}

/// Where means differ less than their doubt, the spread is none, and their square goes into the doubt of a reading.
#[test]
fn a_spread_less_than_the_doubt_of_a_reading_is_exactly_none() {
    let mut draws = Draws(2);
    let (mut none_as_new, mut none_of_rates, mut neither) = (0, 0, 0);
    for _ in 0..200 {
        let groups = fleet(0.1, 0.1, &mut draws);
        let [within, slopes, means] = mean_squares(&groups);
        let got = fit(&groups, false, Method::Reml).unwrap();
        let g = GROUPS as f64;
        let mut square = g * within;
        let mut degrees = g;
        // The smaller joins first, and draws the other in if that is under what they come to.
        let mut others = [(means, got.as_new_sd, 3.0), (slopes, got.rate_sd, 2.0)];
        others.sort_by(|a, b| a.0.total_cmp(&b.0));
        for (mean_square, sd, n) in others {
            if mean_square < square / degrees {
                square += (g - 1.0) * mean_square;
                degrees += g - 1.0;
                assert_eq!(sd, 0.0);
            } else {
                close(sd, ((mean_square - square / degrees) / n).sqrt());
            }
        }
        close(got.reading_sd, (square / degrees).sqrt());
        assert_eq!(
            got.standard_errors.as_new_sd.is_none(),
            got.as_new_sd == 0.0
        );
        assert_eq!(got.standard_errors.rate_sd.is_none(), got.rate_sd == 0.0);
        match (got.as_new_sd == 0.0, got.rate_sd == 0.0) {
            (true, true) => neither += 1,
            (true, false) => none_as_new += 1,
            (false, true) => none_of_rates += 1,
            (false, false) => {}
        }
    }
    assert!(none_as_new > 20 && none_of_rates > 20 && neither > 20);
}

/// Each reading the mean of four says the same of the parts, and of one reading twice the doubt.
#[test]
fn means_of_four_readings_have_half_the_doubt_of_one() {
    let mut draws = Draws(3);
    let once = TRUTH.fleet(12, &mut draws);
    let mut means = once.clone();
    for reading in means.iter_mut().flatten() {
        reading.repeats = 4;
    }
    for method in [Method::Reml, Method::Ml] {
        let a = fit(&once, false, method).unwrap();
        let b = fit(&means, false, method).unwrap();
        close(b.reading_sd, 2.0 * a.reading_sd);
        close(b.rate_sd, a.rate_sd);
        close(b.as_new_sd, a.as_new_sd);
        close(b.rate, a.rate);
        close(b.log_likelihood, a.log_likelihood);
        assert_eq!(b.readings, a.readings);
    }
}

/// Mirrored, reordered, in other units: the same wear.
#[test]
fn nothing_depends_on_units_order_or_side() {
    let mut draws = Draws(4);
    for _ in 0..20 {
        let groups = TRUTH.fleet(10, &mut draws);
        let a = fit(&groups, false, Method::Reml).unwrap();
        let mut other: Vec<Vec<MeanReading>> = groups
            .iter()
            .map(|group| {
                group
                    .iter()
                    .rev()
                    .map(|one| reading(60.0 * one.hours, -1000.0 * one.value))
                    .collect()
            })
            .collect();
        other.reverse();
        other.push(Vec::new());
        let b = fit(&other, true, Method::Reml).unwrap();
        close(b.as_new, -1000.0 * a.as_new);
        close(b.rate, 1000.0 / 60.0 * a.rate);
        close(b.as_new_sd, 1000.0 * a.as_new_sd);
        close(b.rate_sd, 1000.0 / 60.0 * a.rate_sd);
        close(b.reading_sd, 1000.0 * a.reading_sd);
        close(
            b.standard_errors.rate,
            1000.0 / 60.0 * a.standard_errors.rate,
        );
        let (a_bend, b_bend) = (a.bend.unwrap(), b.bend.unwrap());
        close(b_bend.chance, a_bend.chance);
        close(b_bend.curvature, -1000.0 / 3600.0 * a_bend.curvature);
        assert_eq!((b.groups, b.readings), (a.groups, a.readings));
    }
}
