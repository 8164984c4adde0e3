//! Lives of parts against published fits of the Weibull distribution, and against scipy and lifelines.

use rimeyard_rules::calculations::life::HistoryInput;
use rimeyard_rules::calculations::{life, life_fit};
use serde_json::Value;
use std::iter;

use super::against_scipy::{EXPECTED, answer_of, distance};

/// Millions of revolutions to failure of 23 deep-groove ball bearings (Lieblein & Zelen 1956, Statistical Investigation of
/// the Fatigue Life of Deep-Groove Ball Bearings, Journal of Research of the National Bureau of Standards 57; the values
/// from memory).
const BEARINGS: [f64; 23] = [
    17.88, 28.92, 33.00, 41.52, 42.12, 45.60, 48.48, 51.84, 51.96, 54.12, 55.56, 67.80, 68.64,
    68.64, 68.88, 84.12, 93.12, 98.64, 105.12, 105.84, 127.92, 128.04, 173.40,
];

/// Kilometres to failure of shock absorbers, and of those that were sound yet (O'Connor, Practical Reliability Engineering,
/// 1985; Meeker & Escobar, Statistical Methods for Reliability Data, 1998, appendix C; from memory).
const SHOCK_ABSORBERS: ([f64; 11], [f64; 27]) = (
    [
        6700.0, 9120.0, 12200.0, 13150.0, 14300.0, 17520.0, 20100.0, 20900.0, 22700.0, 26510.0,
        27490.0,
    ],
    [
        6950.0, 7820.0, 8790.0, 9660.0, 9820.0, 11310.0, 11690.0, 11850.0, 11880.0, 12140.0,
        12870.0, 13330.0, 13470.0, 14040.0, 17540.0, 17890.0, 18450.0, 18960.0, 18980.0, 19410.0,
        20100.0, 20150.0, 20320.0, 23490.0, 27410.0, 27890.0, 28100.0,
    ],
);

/// Hours to fracture of bearing cages, and how many of the 1,703 had run so long and were sound (Abernethy, Breneman,
/// Medlin & Reinman, Weibull Analysis Handbook, AFWAL-TR-83-2079, 1983; from memory).
const BEARING_CAGES: ([f64; 6], [(f64, usize); 19]) = (
    [230.0, 334.0, 423.0, 990.0, 1009.0, 1510.0],
    [
        (50.0, 288),
        (150.0, 148),
        (250.0, 124),
        (350.0, 111),
        (450.0, 106),
        (550.0, 99),
        (650.0, 110),
        (750.0, 114),
        (850.0, 119),
        (950.0, 127),
        (1050.0, 123),
        (1150.0, 93),
        (1250.0, 47),
        (1350.0, 41),
        (1450.0, 27),
        (1550.0, 11),
        (1650.0, 6),
        (1850.0, 1),
        (2050.0, 2),
    ],
);

/// Those that failed at these ages, and those that were sound at those.
fn histories(failed: &[f64], sound: impl IntoIterator<Item = f64>) -> Vec<HistoryInput> {
    let life = |exit, failed| HistoryInput {
        entry: 0.0,
        exit,
        failed,
    };
    let failed = failed.iter().map(|exit| life(*exit, true));
    failed
        .chain(sound.into_iter().map(|exit| life(exit, false)))
        .collect()
}

fn fitted(histories: Vec<HistoryInput>) -> life_fit::Output {
    life_fit::calculate(&life_fit::Input {
        histories,
        found_failed: Vec::new(),
    })
    .expect("a fit")
}

/// Each to the decimals that are published.
#[track_caller]
fn as_published<const N: usize>(pairs: [(f64, f64, i32); N]) {
    for (got, published, decimals) in pairs {
        let half = 0.500_001 * 10_f64.powi(-decimals);
        assert!((got - published).abs() <= half, "{got} is not {published}");
    }
}

/// Shape, scale and log-likelihood as published (Lawless, Statistical Models and Methods for Lifetime Data; from memory).
#[test]
fn ball_bearings_live_as_published() {
    let fit = fitted(histories(&BEARINGS, []));
    as_published([
        (fit.shape, 2.10, 2),
        (fit.scale, 81.9, 1),
        (fit.log_likelihood, -113.69, 2),
    ]);
    assert_eq!((fit.failures, fit.histories), (23, 23));
}

/// NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3, Reliability analysis using Weibull data: ten units failed, ten
/// were taken off after 500 h.
#[test]
fn units_taken_off_a_test_live_as_the_handbook_says() {
    let failed = [
        54.0, 187.0, 216.0, 240.0, 244.0, 335.0, 361.0, 373.0, 375.0, 386.0,
    ];
    let fit = fitted(histories(&failed, [500.0; 10]));
    as_published([
        (fit.shape, 1.7208, 4),
        (fit.scale, 606.5280, 2),
        (fit.log_likelihood, -75.135, 3),
    ]);
}

/// Meeker & Escobar, Statistical Methods for Reliability Data, 1998, chapter 8 (from memory).
#[test]
fn shock_absorbers_and_bearing_cages_live_as_published() {
    let (failed, sound) = SHOCK_ABSORBERS;
    let fit = fitted(histories(&failed, sound));
    as_published([(fit.shape, 3.16, 2), (fit.scale, 27_719.0, 0)]);

    let (failed, sound) = BEARING_CAGES;
    let sound = sound
        .into_iter()
        .flat_map(|(age, count)| iter::repeat_n(age, count));
    let fit = fitted(histories(&failed, sound));
    as_published([(fit.shape, 2.035, 3), (fit.scale, 11_792.0, 0)]);
    assert_eq!((fit.failures, fit.histories), (6, 1703));
}

/// Weeks until leukaemia came back under 6-mercaptopurine (Freireich et al. 1963, Blood 21; the fit as in Lawless and in
/// Kalbfleisch & Prentice; from memory).
#[test]
fn remissions_last_as_published() {
    let failed = [6.0, 6.0, 6.0, 7.0, 10.0, 13.0, 16.0, 22.0, 23.0];
    let sound = [
        6.0, 9.0, 10.0, 11.0, 17.0, 19.0, 20.0, 25.0, 32.0, 32.0, 34.0, 35.0,
    ];
    let fit = fitted(histories(&failed, sound));
    as_published([(fit.shape, 1.354, 3), (fit.scale, 33.77, 2)]);
}

/// Weibayes: with the shape known the scale is (sum of ages^k / failures)^(1/k) (Abernethy et al., AFWAL-TR-83-2079,
/// chapter 6). The shape that fits best gives the scale that fits best, so with the published shape it is the published
/// scale. A prior that is worth next to nothing leaves the data to speak.
#[test]
fn a_known_shape_gives_the_published_scale() {
    let (failed, sound) = SHOCK_ABSORBERS;
    let nothing = 1e-9;
    let got = life::calculate(&life::Input {
        shape: 3.16,
        prior_scale: 1.0,
        prior_weight: nothing,
        histories: histories(&failed, sound),
        age: 0.0,
        next: 0.0,
    })
    .expect("a life");
    let scale = (got.beta / got.alpha).powf(1.0 / 3.16);
    assert!((scale - 27_719.0).abs() < 5.0, "{scale}");
    assert!((got.alpha - 11.0).abs() < 1e-6);
}

/// NIST/SEMATECH e-Handbook, 8.4.6, How do you estimate reliability using the Bayesian gamma prior model: a' = a + r and
/// b' = b + T. A life of shape 1 is that model; the rule is the handbook's, the numbers are ours.
#[test]
fn a_life_of_shape_one_is_the_gamma_model() {
    let (a, b) = (2.863, 1522.46);
    let got = life::calculate(&life::Input {
        shape: 1.0,
        prior_scale: b / a,
        prior_weight: a,
        histories: histories(&[400.0, 500.0], [600.0]),
        age: 0.0,
        next: 0.0,
    })
    .expect("a life");
    as_published([(got.alpha, 4.863, 9), (got.beta, 3022.46, 6)]);
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
