//! The likelihood written out over the whole covariance matrix, against the fit: it says the same there, and nothing is
//! likelier.

use super::*;
use crate::wear::draws::{Draws, TRUTH, Truth};

struct Figures {
    line: [f64; 2],
    as_new_sd: f64,
    rate_sd: f64,
    reading_sd: f64,
}

/// log L of falling values: by elimination, one group after another.
fn log_likelihood(groups: &[Vec<MeanReading>], figures: &Figures, method: Method) -> f64 {
    let mut twice = 0.0;
    let mut information = [[0.0; 2]; 2];
    let mut count = 0.0;
    for group in groups {
        // Rows of the covariance, with 1, -h and the residual beside it.
        let mut rows: Vec<Vec<f64>> = group
            .iter()
            .enumerate()
            .map(|(i, one)| {
                let mut row: Vec<f64> = group
                    .iter()
                    .map(|other| {
                        figures.as_new_sd.powi(2)
                            + figures.rate_sd.powi(2) * one.hours * other.hours
                    })
                    .collect();
                row[i] += figures.reading_sd.powi(2) / f64::from(one.repeats);
                let residual = one.value - figures.line[0] + figures.line[1] * one.hours;
                row.extend([1.0, -one.hours, residual]);
                row
            })
            .collect();
        let n = group.len();
        count += n as f64;
        for pivot in 0..n {
            let row = rows[pivot].clone();
            twice += row[pivot].ln() + row[n + 2] * row[n + 2] / row[pivot];
            for j in 0..2 {
                for k in 0..2 {
                    information[j][k] += row[n + j] * row[n + k] / row[pivot];
                }
            }
            for below in &mut rows[pivot + 1..] {
                let factor = below[pivot] / row[pivot];
                for (entry, above) in below.iter_mut().zip(&row) {
                    *entry -= factor * above;
                }
            }
        }
    }
    if method == Method::Reml {
        twice +=
            (information[0][0] * information[1][1] - information[0][1] * information[1][0]).ln();
        count -= 2.0;
    }
    -0.5 * (twice + count * std::f64::consts::TAU.ln())
}

/// Spreads from none to many times the doubt of a reading, parts read once and often, some readings means.
fn some_fleet(draws: &mut Draws) -> Vec<Vec<MeanReading>> {
    let any = |draws: &mut Draws, sizes: [f64; 4]| sizes[draws.up_to(4) - 1];
    let truth = Truth {
        as_new_sd: any(draws, [0.0, 0.05, 0.3, 3.0]),
        rate_sd: any(draws, [0.0, 0.001, 0.01, 0.1]),
        reading_sd: any(draws, [0.001, 0.05, 0.2, 0.5]),
        readings_most: 1 + draws.up_to(7),
        ..TRUTH
    };
    let parts = 3 + draws.up_to(9);
    let mut groups = truth.fleet(parts, draws);
    for reading in groups.iter_mut().flatten() {
        reading.repeats = u32::try_from(draws.up_to(3)).unwrap();
    }
    groups
}

#[test]
fn the_likelihood_is_that_of_the_whole_covariance_and_nothing_is_likelier() {
    let mut draws = Draws(5);
    let mut fitted = 0;
    for case in 0..400 {
        let groups = some_fleet(&mut draws);
        let method = if case % 2 == 0 {
            Method::Reml
        } else {
            Method::Ml
        };
        let Ok(got) = fit(&groups, false, method) else {
            continue;
        };
        fitted += 1;
        let at = |as_new_sd, rate_sd, reading_sd, line| {
            let figures = Figures {
                line,
                as_new_sd,
                rate_sd,
                reading_sd,
            };
            log_likelihood(&groups, &figures, method)
        };
        let line = [got.as_new, got.rate];
        let best = at(got.as_new_sd, got.rate_sd, got.reading_sd, line);
        assert!(
            (best - got.log_likelihood).abs() < 1e-6 * (1.0 + best.abs()),
            "{best} {got:?}"
        );
        // Near by, either way; and anywhere.
        let near = 10f64.powf(-1.0 - 2.0 * draws.uniform());
        for _ in 0..30 {
            let by = |draws: &mut Draws| (near * draws.normal()).exp();
            let other = at(
                got.as_new_sd * by(&mut draws) + near * 0.01 * draws.uniform(),
                got.rate_sd * by(&mut draws) + near * 1e-4 * draws.uniform(),
                got.reading_sd * by(&mut draws),
                line,
            );
            assert!(
                other <= best + 1e-8 * (1.0 + best.abs()),
                "{other} over {got:?}"
            );
            let size = |draws: &mut Draws, least: f64| least * 10f64.powf(4.0 * draws.uniform());
            let other = at(
                size(&mut draws, 0.001),
                size(&mut draws, 1e-5),
                size(&mut draws, 0.001),
                line,
            );
            assert!(
                other <= best + 1e-8 * (1.0 + best.abs()),
                "{other} over {got:?}"
            );
            let moved = [
                line[0] + near * draws.normal(),
                line[1] + 0.01 * near * draws.normal(),
            ];
            let other = at(got.as_new_sd, got.rate_sd, got.reading_sd, moved);
            assert!(
                other <= best + 1e-8 * (1.0 + best.abs()),
                "{other} over {got:?}"
            );
        }
    }
    assert!(fitted > 300, "{fitted}");
}
