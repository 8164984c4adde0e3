//! The fit against the likelihood as it is written in books.

use super::*;

/// ln of the likelihood, term by term.
fn ln_likelihood(
    shape: f64,
    scale: f64,
    histories: &[History],
    found_failed: &[FoundFailed],
) -> f64 {
    let ln_sound = |age: f64| -(age / scale).powf(shape);
    let dated: f64 = histories
        .iter()
        .map(|life| {
            let density = (shape / scale).ln() + (shape - 1.0) * (life.exit / scale).ln();
            ln_sound(life.exit) - ln_sound(life.entry) + if life.failed { density } else { 0.0 }
        })
        .sum();
    let found: f64 = found_failed
        .iter()
        .map(|life| {
            (ln_sound(life.sound).exp() - ln_sound(life.found).exp()).ln() - ln_sound(life.entry)
        })
        .sum();
    dated + found
}

/// Lives of all kinds, of which some failed; ages from 1 to 300.
fn lives() -> impl Strategy<Value = (Vec<History>, Vec<FoundFailed>)> {
    let entry = || prop_oneof![Just(0.0), 0.0..80.0_f64];
    let history =
        (entry(), 1.0..200.0_f64, any::<bool>()).prop_map(|(entry, more, failed)| History {
            entry,
            exit: entry + more,
            failed,
        });
    let found = (
        entry(),
        prop_oneof![Just(0.0), 1.0..60.0_f64],
        1.0..100.0_f64,
    )
        .prop_map(|(entry, sound, more)| found(entry, entry + sound, entry + sound + more));
    (
        prop::collection::vec(history, 2..12),
        prop::collection::vec(found, 0..6),
    )
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// The likelihood is the book's, and nothing around is likelier, near or far.
    #[test]
    fn nothing_is_likelier((histories, found_failed) in lives()) {
        let Ok(fit) = fit(&histories, &found_failed) else { return Ok(()) };
        let at = |shape, scale| ln_likelihood(shape, scale, &histories, &found_failed);
        let best = at(fit.shape, fit.scale);
        prop_assert!((fit.log_likelihood - best).abs() < 1e-9 * (1.0 + best.abs()), "{fit:?} {best}");
        for by in [1e-3, 0.1, 1.0, 2.0] {
            for (shape, scale) in [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0), (1.0, 1.0), (-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0)] {
                let (shape, scale) = (fit.shape * f64::exp(by * shape), fit.scale * f64::exp(by * scale));
                let other = at(shape, scale);
                prop_assert!(other.is_nan() || other <= best + 1e-9, "{shape} {scale} {other} {fit:?}");
            }
        }
    }

    /// Standard errors are those of the book's likelihood, its curvature by differences.
    #[test]
    fn errors_are_those_of_the_curvature((histories, found_failed) in lives()) {
        let Ok(fit) = fit(&histories, &found_failed) else { return Ok(()) };
        // Where little is known differences cannot be taken without leaving the top.
        prop_assume!(fit.standard_errors.shape < 0.5 * fit.shape && fit.standard_errors.scale < 0.5 * fit.scale);
        let at = |shape: f64, scale: f64| ln_likelihood(fit.shape * shape, fit.scale * scale, &histories, &found_failed);
        let h = 1e-4;
        let second = |a: f64, b: f64| {
            (at(1.0 + a * h, 1.0 + b * h) - 2.0 * at(1.0, 1.0) + at(1.0 - a * h, 1.0 - b * h)) / (h * h)
        };
        let (shapes, scales) = (second(1.0, 0.0), second(0.0, 1.0));
        let across = 0.5 * (second(1.0, 1.0) - shapes - scales);
        let determinant = shapes * scales - across * across;
        let (shape, scale) = ((-scales / determinant).sqrt() * fit.shape, (-shapes / determinant).sqrt() * fit.scale);
        prop_assert!((fit.standard_errors.shape / shape - 1.0).abs() < 1e-3, "{fit:?} {shape}");
        prop_assert!((fit.standard_errors.scale / scale - 1.0).abs() < 1e-3, "{fit:?} {scale}");
    }

    /// In another unit of age the scale and its error are in that unit, and densities per unit; the order is none.
    #[test]
    fn units_and_order_change_nothing((mut histories, mut found_failed) in lives(), unit in 1e-3..1e3_f64) {
        let Ok(before) = fit(&histories, &found_failed) else { return Ok(()) };
        let dated = histories.iter().filter(|life| life.failed).count() as f64;
        for life in &mut histories {
            life.entry *= unit;
            life.exit *= unit;
        }
        for life in &mut found_failed {
            life.entry *= unit;
            life.sound *= unit;
            life.found *= unit;
        }
        histories.reverse();
        found_failed.reverse();
        let after = fit(&histories, &found_failed).unwrap();
        let close = |got: f64, expected: f64| (got - expected).abs() <= 1e-8 * (1.0 + expected.abs());
        prop_assert!(close(after.shape / before.shape, 1.0), "{before:?} {after:?}");
        prop_assert!(close(after.scale / (before.scale * unit), 1.0), "{before:?} {after:?}");
        prop_assert!(close(after.log_likelihood, before.log_likelihood - dated * unit.ln()), "{before:?} {after:?}");
        prop_assert!(close(after.standard_errors.scale / (before.standard_errors.scale * unit), 1.0));
        prop_assert_eq!((after.failures, after.histories), (before.failures, before.histories));
    }

    /// A failure found within a ten-millionth of its age is as good as a dated one; its chance is its density times that.
    #[test]
    fn a_failure_found_at_once_is_dated((histories, _) in lives()) {
        let Ok(exact) = fit(&histories, &[]) else { return Ok(()) };
        let short = 1e-7;
        let found_failed: Vec<FoundFailed> = histories
            .iter()
            .filter(|life| life.failed)
            .map(|life| found(life.entry, life.exit * (1.0 - short), life.exit))
            .collect();
        let rest: Vec<History> = histories.iter().copied().filter(|life| !life.failed).collect();
        let got = fit(&rest, &found_failed).unwrap();
        prop_assert!((got.shape / exact.shape - 1.0).abs() < 1e-4, "{got:?} {exact:?}");
        // Of a shape of next to nothing the scale may be anything from 1e-100 on: it is known by its logarithm.
        let (got_ln, exact_ln) = (got.scale.ln(), exact.scale.ln());
        prop_assert!((got_ln - exact_ln).abs() < 1e-4 * (1.0 + exact_ln.abs()), "{got:?} {exact:?}");
        let lengths: f64 = found_failed.iter().map(|life| (life.found - life.sound).ln()).sum();
        prop_assert!((got.log_likelihood - exact.log_likelihood - lengths).abs() < 1e-4);
    }

    /// Cut in two at any age, a life says as much: known sound to there, and entered there.
    #[test]
    fn a_life_cut_in_two_says_the_same((histories, found_failed) in lives(), at in 0.05..0.95_f64) {
        let Ok(whole) = fit(&histories, &found_failed) else { return Ok(()) };
        let mut pieces = Vec::new();
        for life in &histories {
            let cut = life.entry + at * (life.exit - life.entry);
            pieces.extend([sound(life.entry, cut), History { entry: cut, ..*life }]);
        }
        let got = fit(&pieces, &found_failed).unwrap();
        prop_assert!((got.shape / whole.shape - 1.0).abs() < 1e-8, "{got:?} {whole:?}");
        prop_assert!((got.log_likelihood - whole.log_likelihood).abs() < 1e-8 * (1.0 + whole.log_likelihood.abs()));
    }
}

/// By hand: with the shape at its best, the scale^k is the sum of ages^k over failures. Two failures at 1 and e, and
/// nothing else: 1/k + 1/2 = e^k / (1 + e^k), so k = 2.3994 (a calculator), scale = ((1 + e^k) / 2)^(1/k).
#[test]
fn two_failures_by_hand() {
    let got = fit(&[failed(0.0, 1.0), failed(0.0, 1f64.exp())], &[]).unwrap();
    let k = got.shape;
    assert!((1.0 / k + 0.5 - k.exp() / (1.0 + k.exp())).abs() < 1e-12);
    assert!((k - 2.399_357).abs() < 1e-6, "{k}");
    assert!((got.scale - ((1.0 + k.exp()) / 2.0).powf(1.0 / k)).abs() < 1e-12);
}

/// Parts read at one inspection each, n of which have failed by it: where two ages are all there is, both chances are met
/// exactly. 3 of 10 failed by 50 h, 6 of 10 by 100 h: k = ln(ln 0.4 / ln 0.7) / ln 2, scale = 50 / (-ln 0.7)^(1/k).
#[test]
fn two_inspections_are_met_exactly() {
    let mut histories = vec![sound(0.0, 50.0); 7];
    histories.extend(vec![sound(0.0, 100.0); 4]);
    let mut found_failed = vec![found(0.0, 0.0, 50.0); 3];
    found_failed.extend(vec![found(0.0, 0.0, 100.0); 6]);
    let got = fit(&histories, &found_failed).unwrap();
    let k = (0.4_f64.ln() / 0.7_f64.ln()).ln() / 2_f64.ln();
    assert!((got.shape / k - 1.0).abs() < 1e-12, "{got:?}");
    let scale = 50.0 / (-(0.7_f64.ln())).powf(1.0 / k);
    assert!((got.scale / scale - 1.0).abs() < 1e-12);
    let log_likelihood =
        3.0 * 0.3_f64.ln() + 7.0 * 0.7_f64.ln() + 6.0 * 0.6_f64.ln() + 4.0 * 0.4_f64.ln();
    assert!((got.log_likelihood - log_likelihood).abs() < 1e-12);
    assert_eq!((got.failures, got.histories), (9, 20));
}
