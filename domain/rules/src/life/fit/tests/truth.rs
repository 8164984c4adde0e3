//! The fit against a known truth: what it says on average over many fleets, and how well its errors are told.

use super::super::draws::Draws;
use super::*;

const SHAPE: f64 = 2.5;
const SCALE: f64 = 120.0;

/// Mean of (fitted - true) / standard error, its spread, and the share beyond 1.96, over fleets.
fn over_fleets(
    fleets: usize,
    seed: u64,
    fleet: impl Fn(&mut Draws) -> (Vec<History>, Vec<FoundFailed>),
) -> [f64; 3] {
    let mut draws = Draws(seed);
    let scores: Vec<f64> = (0..fleets)
        .map(|_| {
            let (histories, found_failed) = fleet(&mut draws);
            let fit = fit(&histories, &found_failed).unwrap();
            // Shapes are skewed; their logarithms hardly.
            (fit.shape / SHAPE).ln() * fit.shape / fit.standard_errors.shape
        })
        .collect();
    let count = fleets as f64;
    let mean = scores.iter().sum::<f64>() / count;
    let spread = (scores.iter().map(|z| (z - mean).powi(2)).sum::<f64>() / count).sqrt();
    let beyond = scores.iter().filter(|z| z.abs() > 1.96).count() as f64 / count;
    [mean, spread, beyond]
}

/// 400 fleets of some 100 parts that came to us used and are watched until they fail or for a while, some inspected only
/// now and then: the shape is the truth's, and errors are as large as said.
#[test]
fn fleets_of_all_kinds_of_lives_are_fitted_to_the_truth() {
    let [mean, spread, beyond] = over_fleets(400, 11, |draws| {
        let (mut histories, mut found_failed) = (Vec::new(), Vec::new());
        for number in 0..100 {
            let entry = if number % 2 == 0 {
                0.0
            } else {
                draws.between(0.0, 100.0)
            };
            let life = loop {
                let life = draws.life(SHAPE, SCALE);
                if life > entry {
                    break life;
                }
            };
            let until = entry + draws.between(30.0, 150.0);
            if life > until {
                histories.push(sound(entry, until));
            } else if number % 3 == 0 {
                // Inspected every 20 hours from entry on.
                let before = entry + 20.0 * ((life - entry) / 20.0).floor();
                found_failed.push(found(entry, before, before + 20.0));
            } else {
                histories.push(failed(entry, life));
            }
        }
        (histories, found_failed)
    });
    // The mean's own standard error is 0.05; a maximum-likelihood shape lies a little high.
    assert!(mean.abs() < 0.25, "{mean}");
    assert!((spread - 1.0).abs() < 0.12, "{spread}");
    // Binomial, 99.9 %: 0.05 +- 3.3 sqrt(0.05 x 0.95 / 400).
    assert!((beyond - 0.05).abs() < 0.036, "{beyond}");
}

/// Who enters late is known to have been sound until then. Taken for watched from new, such parts make the shape too large
/// by half.
#[test]
fn late_entries_matter() {
    let mut draws = Draws(5);
    let mut histories = Vec::new();
    while histories.len() < 2000 {
        let (entry, life) = (draws.between(0.0, 120.0), draws.life(SHAPE, SCALE));
        if life > entry {
            let until = entry + 60.0;
            histories.push(History {
                entry,
                exit: life.min(until),
                failed: life <= until,
            });
        }
    }
    let got = fit(&histories, &[]).unwrap();
    assert!(
        (got.shape - SHAPE).abs() < 3.0 * got.standard_errors.shape,
        "{got:?}"
    );
    assert!(
        (got.scale - SCALE).abs() < 3.0 * got.standard_errors.scale,
        "{got:?}"
    );
    for life in &mut histories {
        life.entry = 0.0;
    }
    let wrong = fit(&histories, &[]).unwrap();
    assert!(
        wrong.shape > 1.15 * SHAPE || wrong.scale > 1.1 * SCALE,
        "{wrong:?}"
    );
}

/// What is found failed lies before. Taken for failed when found, after inspections far apart, lives come out too long.
#[test]
fn failures_found_late_matter() {
    let mut draws = Draws(6);
    let mut found_failed = Vec::new();
    for _ in 0..2000 {
        let life = draws.life(SHAPE, SCALE);
        let before = 60.0 * (life / 60.0).floor();
        found_failed.push(found(0.0, before, before + 60.0));
    }
    let got = fit(&[], &found_failed).unwrap();
    assert!(
        (got.shape - SHAPE).abs() < 3.0 * got.standard_errors.shape,
        "{got:?}"
    );
    assert!(
        (got.scale - SCALE).abs() < 3.0 * got.standard_errors.scale,
        "{got:?}"
    );
    let dated: Vec<History> = found_failed
        .iter()
        .map(|life| failed(0.0, life.found))
        .collect();
    let wrong = fit(&dated, &[]).unwrap();
    assert!(wrong.scale > 1.2 * SCALE, "{wrong:?}");
}
