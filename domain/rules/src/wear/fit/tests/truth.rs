//! Fleets of which the truth is known.

use super::*;
use crate::wear::draws::{Draws, TRUTH};

const FLEETS: usize = 300;

fn mean(of: impl Iterator<Item = f64>) -> f64 {
    of.sum::<f64>() / FLEETS as f64
}

/// 300 fleets of 30 parts: the means of what is fitted are the truth, and standard errors are what the fits scatter by.
#[test]
fn the_truth_is_found_as_well_as_the_standard_errors_say() {
    let mut draws = Draws(6);
    let fits: Vec<WearFit> = (0..FLEETS)
        .map(|_| fit(&TRUTH.fleet(30, &mut draws), false, Method::Reml).unwrap())
        .collect();
    for (truth, figure, error) in [
        (
            TRUTH.as_new,
            (|fit| fit.as_new) as fn(&WearFit) -> f64,
            (|fit| Some(fit.standard_errors.as_new)) as fn(&WearFit) -> Option<f64>,
        ),
        (
            TRUTH.rate,
            |fit| fit.rate,
            |fit| Some(fit.standard_errors.rate),
        ),
        (
            TRUTH.as_new_sd,
            |fit| fit.as_new_sd,
            |fit| fit.standard_errors.as_new_sd,
        ),
        (
            TRUTH.rate_sd,
            |fit| fit.rate_sd,
            |fit| fit.standard_errors.rate_sd,
        ),
        (
            TRUTH.reading_sd,
            |fit| fit.reading_sd,
            |fit| fit.standard_errors.reading_sd,
        ),
    ] {
        let errors: Vec<f64> = fits.iter().filter_map(error).collect();
        assert!(errors.len() >= FLEETS - 15);
        let said = errors.iter().sum::<f64>() / errors.len() as f64;
        let middle = mean(fits.iter().map(figure));
        let scatter = mean(fits.iter().map(|fit| (figure(fit) - middle).powi(2))).sqrt();
        // The mean of 300 is off by a fifth of a standard error once in 2,000 times; spreads are a little small.
        assert!(
            (middle - truth).abs() < 0.2 * said,
            "{middle} is not {truth}, give or take {said}"
        );
        assert!(
            (scatter / said - 1.0).abs() < 0.2,
            "{scatter} is not {said}"
        );
    }
}

/// As many readings as a calculation takes, of as many parts or of two, are fitted.
#[test]
fn ten_thousand_readings_are_fitted() {
    let mut draws = Draws(7);
    let mut many = TRUTH.fleet(2_800, &mut draws);
    many.extend((0..200).map(|_| vec![reading(30.0, 4.8)]));
    let got = fit(&many, false, Method::Reml).unwrap();
    assert!((got.rate / TRUTH.rate - 1.0).abs() < 0.05);
    let two: Vec<Vec<MeanReading>> = [1.0, -1.0]
        .map(|side| {
            (0..5_000)
                .map(|i| {
                    reading(
                        f64::from(i) / 50.0,
                        6.0 + side - 0.04 * f64::from(i) / 50.0 + 0.1 * draws.normal(),
                    )
                })
                .collect()
        })
        .to_vec();
    let got = fit(&two, false, Method::Reml).unwrap();
    assert!((got.reading_sd - 0.1).abs() < 0.003);
    assert!((got.as_new_sd - 2f64.sqrt()).abs() < 0.01);
}
