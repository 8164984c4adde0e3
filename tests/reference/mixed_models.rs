//! The wear of a fleet against published fits of the mixed model, and against statsmodels.

use rimeyard_rules::calculations::wear::Reading;
use rimeyard_rules::calculations::wear_fit::{Group, Input, Output, calculate};
use rimeyard_rules::wear::fit::Method;
use serde_json::Value;

use super::against_scipy::{EXPECTED, answer_of, distance};

/// Reaction times in ms of 18 people on days 0 to 9 without sleep; where they are from says sleepstudy.py.
fn sleepstudy(method: Method) -> Output {
    let data: Value = serde_json::from_str(include_str!("sleepstudy.json")).expect("JSON");
    let subjects = data["subjects"].as_object().expect("an object");
    assert_eq!(subjects.len(), 18);
    let groups = subjects
        .values()
        .map(|values| {
            let values: Vec<f64> = serde_json::from_value(values.clone()).expect("numbers");
            let reading = |(day, value)| Reading {
                hours: day as f64,
                value,
            };
            Group {
                readings: values.into_iter().enumerate().map(reading).collect(),
            }
        })
        .collect();
    calculate(&Input {
        groups,
        method,
        grows: true,
    })
    .expect("a fit")
}

/// Holds each figure to the decimals that were printed.
#[track_caller]
fn printed(figures: &[(f64, f64, i32)]) {
    for (got, published, decimals) in figures {
        let half = 0.5 * 10f64.powi(-decimals);
        assert!(
            (got - published).abs() <= half * 1.0001,
            "{got} is not {published}"
        );
    }
}

/// Bates, Maechler, Bolker & Walker (2015), Fitting Linear Mixed-Effects Models Using lme4, Journal of Statistical
/// Software 67(1), section 4: Reaction ~ Days + (Days || Subject), the REML criterion being 1743.7.
#[test]
fn sleepstudy_by_reml_is_as_published() {
    let got = sleepstudy(Method::Reml);
    printed(&[
        (got.as_new, 251.405, 3),
        (got.rate, 10.467, 3),
        (got.as_new_sd, 25.051, 3),
        (got.rate_sd, 5.988, 3),
        (got.reading_sd, 25.565, 3),
        (got.standard_errors.as_new, 6.885, 3),
        (got.standard_errors.rate, 1.560, 3),
        (-2.0 * got.log_likelihood, 1743.7, 1),
        (got.log_likelihood, -871.83, 2),
    ]);
    assert_eq!((got.groups, got.readings), (18, 180));
}

/// The same model by maximum likelihood: log-likelihood and deviance from the paper's comparison of models (its anova
/// table), spreads and standard errors from the documentation of MixedModels.jl, which fits by ML; both from memory.
#[test]
fn sleepstudy_by_ml_is_as_published() {
    let got = sleepstudy(Method::Ml);
    printed(&[
        (got.as_new, 251.405, 3),
        (got.rate, 10.4673, 4),
        (got.as_new_sd, 24.171, 3),
        (got.rate_sd, 5.799, 3),
        (got.reading_sd, 25.556, 3),
        (got.standard_errors.as_new, 6.7077, 4),
        (got.standard_errors.rate, 1.5193, 4),
        (got.log_likelihood, -876.00, 2),
        (-2.0 * got.log_likelihood, 1752.0, 1),
    ]);
}

/// statsmodels' own search stops at about six digits.
#[test]
fn fleets_wear_as_statsmodels_says() {
    let calculations = EXPECTED["calculations"].as_array().unwrap();
    let cases: Vec<&Value> = calculations
        .iter()
        .filter(|case| case["name"] == "wear-fit")
        .collect();
    let theirs = EXPECTED["mixed_lm"].as_array().unwrap();
    assert!(theirs.len() >= 16);
    for one in theirs {
        let input = &cases[one[0].as_u64().unwrap() as usize]["input"];
        let got = answer_of("wear-fit", input);
        let distance = distance(&one[1], &got);
        assert!(
            distance < 1e-4,
            "{input}\nshould be {}\nand is   {got}: {distance:e}",
            one[1]
        );
    }
}

/// Where a spread is none it is exactly so, and of that neither more nor less is known: all four corners are among the
/// cases that the whole covariance was solved for.
#[test]
fn every_corner_is_among_the_cases() {
    let calculations = EXPECTED["calculations"].as_array().unwrap();
    let mut corners = [0; 4];
    for case in calculations
        .iter()
        .filter(|case| case["name"] == "wear-fit")
    {
        let got = answer_of("wear-fit", &case["input"]);
        let mut corner = 0;
        for (bit, name) in ["as_new_sd", "rate_sd"].into_iter().enumerate() {
            assert_eq!(case["output"][name] == 0.0, got[name] == 0.0);
            assert_eq!(got[name] == 0.0, got["standard_errors"][name].is_null());
            if got[name] == 0.0 {
                corner |= 1 << bit;
            }
        }
        corners[corner] += 1;
    }
    assert!(corners.into_iter().all(|cases| cases >= 2), "{corners:?}");
}
