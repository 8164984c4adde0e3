//! What has no fit, and why; and what just has one.

use super::*;

#[track_caller]
fn refused(histories: &[History], found_failed: &[FoundFailed], why: Unfit) {
    assert_eq!(fit(histories, found_failed), Err(why));
    assert!(why.to_string().contains("; ") || why.to_string().contains(", "));
}

#[test]
fn without_failures_there_is_no_fit() {
    refused(&[], &[], Unfit::NoFailures);
    refused(&[sound(0.0, 50.0); 20], &[], Unfit::NoFailures);
    refused(
        &[failed(0.0, 0.0), failed(0.0, 50.0)],
        &[],
        Unfit::FailedAsNew,
    );
    refused(
        &[],
        &[found(0.0, 0.0, 0.0), found(0.0, 1.0, 2.0)],
        Unfit::FailedAsNew,
    );
}

/// One failure has a fit once another part outlasted it, and not before.
#[test]
fn one_failure_needs_a_part_that_outlasted_it() {
    refused(&[failed(0.0, 50.0)], &[], Unfit::NoneOutlasted);
    refused(
        &[failed(0.0, 50.0), sound(0.0, 30.0), sound(10.0, 50.0)],
        &[],
        Unfit::NoneOutlasted,
    );
    let got = fit(&[failed(0.0, 50.0), sound(0.0, 51.0)], &[]).unwrap();
    assert!(
        got.shape > 10.0 && got.standard_errors.shape > 0.5 * got.shape,
        "{got:?}"
    );
    // Of one failure at x and one part sound at y the shape is where 1/k + ln x = E[ln age], by hand for y = 2 x:
    // 1/k = ln 2 * 2^k / (1 + 2^k).
    let got = fit(&[failed(0.0, 50.0), sound(0.0, 100.0)], &[]).unwrap();
    let share = 2f64.powf(got.shape);
    assert!((1.0 / got.shape - 2f64.ln() * share / (1.0 + share)).abs() < 1e-12);
}

#[test]
fn all_at_one_age_is_no_shape() {
    refused(&[failed(0.0, 80.0); 12], &[], Unfit::NoneOutlasted);
    refused(
        &[failed(0.0, 80.0), failed(0.0, 80.0), sound(0.0, 80.0)],
        &[],
        Unfit::NoneOutlasted,
    );
    // To be found failed at the same inspection says only how many fail by then.
    refused(
        &[sound(0.0, 80.0); 5],
        &[found(0.0, 0.0, 80.0); 5],
        Unfit::NoneOutlasted,
    );
    // One age is in all of these.
    refused(
        &[],
        &[found(0.0, 20.0, 80.0), found(0.0, 60.0, 90.0)],
        Unfit::NoneOutlasted,
    );
    refused(
        &[failed(0.0, 70.0)],
        &[found(0.0, 20.0, 80.0)],
        Unfit::NoneOutlasted,
    );
    // And none in these: a shape there is.
    let got = fit(&[], &[found(0.0, 20.0, 80.0), found(0.0, 85.0, 90.0)]).unwrap();
    assert!(got.shape > 1.0, "{got:?}");
    // As for failures at one age, where others were sound for longer.
    assert!(
        fit(
            &[failed(0.0, 80.0), failed(0.0, 80.0), sound(0.0, 81.0)],
            &[]
        )
        .is_ok()
    );
}

#[test]
fn ages_nearly_one_are_beyond_the_shapes_looked_for() {
    let near = [
        failed(0.0, 100.0),
        failed(0.0, 100.001),
        failed(0.0, 100.002),
    ];
    refused(&near, &[], Unfit::ShapeGrows);
    let got = fit(
        &[failed(0.0, 100.0), failed(0.0, 100.05), failed(0.0, 100.1)],
        &[],
    )
    .unwrap();
    assert!(got.shape > 2000.0 && got.shape < SHAPE_MOST, "{got:?}");
    assert!((got.scale - 100.07).abs() < 0.02, "{got:?}");
}

/// Seen from 50 h on, all that fail do so soon after, and the rest for long not: a rate that falls faster than by any power.
#[test]
fn failures_that_grow_rarer_than_any_shape_has_it_are_refused() {
    let mut histories = vec![failed(50.0, 51.0); 8];
    histories.extend(vec![sound(50.0, 400.0); 8]);
    refused(&histories, &[], Unfit::ShapeShrinks);
    // From their beginning the same parts have one.
    let early: Vec<History> = histories
        .iter()
        .map(|life| History {
            entry: 0.0,
            ..*life
        })
        .collect();
    assert!(fit(&early, &[]).is_ok());
}

#[test]
fn parts_never_seen_sound_say_nothing() {
    refused(
        &[],
        &[found(0.0, 0.0, 20.0), found(0.0, 0.0, 80.0)],
        Unfit::NeverSound,
    );
    refused(
        &[failed(30.0, 30.0)],
        &[found(9.0, 9.0, 20.0)],
        Unfit::NeverSound,
    );
}

/// Ages that are next to nothing beside the others, the smallest double among them, and at once the largest.
#[test]
fn sizes_of_all_kinds_are_fitted_or_refused() {
    let ages = [5e-324, 1e-300, 1e-12, 1.0, 1e6, 1e12];
    for (i, low) in ages.iter().enumerate() {
        for high in &ages[i + 1..] {
            let got = fit(
                &[
                    failed(0.0, *low),
                    failed(0.0, *high),
                    sound(0.0, 0.5 * high),
                ],
                &[],
            );
            if let Ok(fit) = got {
                let figures = [
                    fit.shape,
                    fit.scale,
                    fit.log_likelihood,
                    fit.standard_errors.scale,
                ];
                assert!(
                    figures.iter().all(|figure| figure.is_finite()),
                    "{low:e} {high:e} {fit:?}"
                );
            }
            let got = fit(&[sound(0.0, *high)], &[found(0.0, 0.5 * low, *low)]);
            assert!(got.is_ok_and(|fit| fit.scale.is_finite()) || got.is_err());
        }
    }
    // Of so many so few failed, over so many decades, that the scale is beyond any number.
    let mut many = vec![sound(0.0, 1e12); 9_000];
    many.push(failed(0.0, 1e-24));
    assert_eq!(fit(&many, &[]), Err(Unfit::NotHeld));
    many.push(failed(0.0, 1e-300));
    assert_eq!(fit(&many, &[]), Err(Unfit::ShapeShrinks));
}
