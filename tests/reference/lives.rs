//! Lives of parts against published fits of the Weibull distribution, and against scipy and lifelines.

use rimeyard_rules::calculations::life::HistoryInput;
use rimeyard_rules::calculations::life_fit::{Input, calculate};
use serde_json::Value;

use super::against_scipy::{EXPECTED, answer_of, distance};

/// Millions of revolutions to failure of 23 deep-groove ball bearings (Lieblein & Zelen 1956, Statistical Investigation of
/// the Fatigue Life of Deep-Groove Ball Bearings, Journal of Research of the National Bureau of Standards 57; the values
/// from memory).
const BEARINGS: [f64; 23] = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
];

/// Shape, scale and log-likelihood as published (Lawless, Statistical Models and Methods for Lifetime Data; from memory).
#[test]
fn ball_bearings_live_as_published() {
    let histories = BEARINGS
        .map(|exit| HistoryInput {
            entry: 0.0,
            exit,
            failed: true,
        })
        .to_vec();
    let fit = calculate(&Input {
        histories,
        found_failed: Vec::new(),
    })
    .expect("a fit");
    for (got, published, decimals) in [
        (fit.shape, 2.10, 2),
        (fit.scale, 81.9, 1),
        (fit.log_likelihood, -113.69, 2),
    ] {
        let half = 0.5 * 10f64.powi(-decimals);
        assert!((got - published).abs() <= half, "{got} is not {published}");
    }
    assert_eq!((fit.failures, fit.histories), (23, 23));
}

/// Their own searches stop at four to six digits.
#[test]
fn lives_are_as_scipy_and_lifelines_say() {
    let calculations = EXPECTED["calculations"].as_array().unwrap();
    let cases: Vec<&Value> = calculations
        .iter()
        .filter(|case| case["name"] == "life-fit")
        .collect();
    for (library, least) in [("weibull_min", 15), ("weibull_fitter", 30)] {
        let theirs = EXPECTED[library].as_array().unwrap();
        assert!(theirs.len() >= least, "{library}");
        for one in theirs {
            let input = &cases[one[0].as_u64().unwrap() as usize]["input"];
            let got = answer_of("life-fit", input);
            let distance = distance(&one[1], &got);
            assert!(
                distance < 1e-3,
                "{library}: {input}\nshould be {}\nand is   {got}: {distance:e}",
                one[1]
            );
        }
    }
}
