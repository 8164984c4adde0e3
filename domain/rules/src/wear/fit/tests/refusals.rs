use super::*;
use crate::wear::draws::{Draws, TRUTH};

fn refused(groups: &[Vec<MeanReading>]) -> Unfit {
    let unfit = fit(groups, false, Method::Reml).unwrap_err();
    assert_eq!(fit(groups, true, Method::Ml), Err(unfit));
    unfit
}

#[test]
fn what_has_no_fit_is_refused_and_said_why() {
    let part = |from: f64, rate: f64, hours: &[f64]| {
        hours
            .iter()
            .map(|h| reading(*h, from - rate * h))
            .collect::<Vec<_>>()
    };
    let off = |mut part: Vec<MeanReading>, by: f64| {
        part[0].value += by;
        part
    };
    let uneven = off(part(6.0, 0.04, &[5.0, 20.0, 40.0, 60.0]), 0.1);
    assert_eq!(refused(&[]), Unfit::TooFewGroups);
    assert_eq!(refused(&[uneven.clone(), vec![]]), Unfit::TooFewGroups);
    // One reading a part: what is the part's and what the reading's is not told.
    let once: Vec<_> = (0..30)
        .map(|i| vec![reading(f64::from(i), 6.0 - f64::from(i % 7))])
        .collect();
    assert_eq!(refused(&once), Unfit::NotToldApart);
    // Two readings of each of two parts: four in all.
    let two = [
        off(part(6.0, 0.04, &[5.0, 20.0]), 0.1),
        part(6.1, 0.05, &[5.0, 20.0]),
    ];
    assert_eq!(refused(&two), Unfit::NotToldApart);
    // All at once; at no hours; at hours that differ by nothing much.
    let hours = |a: f64, b: f64| {
        vec![
            vec![reading(a, 5.0), reading(b, 5.2), reading(a, 5.1)],
            vec![reading(b, 4.0), reading(a, 4.1), reading(a, 4.3)],
        ]
    };
    for (a, b) in [(50.0, 50.0), (0.0, 0.0), (50.0, 50.001)] {
        assert_eq!(refused(&hours(a, b)), Unfit::HoursAlike);
    }
    for (hours, value) in [
        (f64::NAN, 5.0),
        (f64::INFINITY, 5.0),
        (1.0, f64::NAN),
        (1.0, f64::NEG_INFINITY),
        (1e200, 5.0),
        (1.0, 1e200),
    ] {
        assert_eq!(
            refused(&[uneven.clone(), vec![reading(hours, value)], uneven.clone()]),
            Unfit::NotFinite
        );
    }
}

/// Lines to the last digit have no likeliest doubt of a reading: one line, or one for each part, in tenths that doubles
/// round.
#[test]
fn exact_lines_are_refused() {
    let line = |from: f64, rate: f64| -> Vec<_> {
        (0..5)
            .map(|i| reading(7.0 * f64::from(i), from - rate * 7.0 * f64::from(i)))
            .collect()
    };
    let alike: Vec<_> = (0..9).map(|_| line(6.1, 0.037)).collect();
    assert_eq!(refused(&alike), Unfit::NoScatter);
    let own: Vec<_> = (0..9)
        .map(|i| {
            line(
                6.1 + 0.1 * f64::from(i),
                0.037 + 0.001 * f64::from(i * i % 5),
            )
        })
        .collect();
    assert_eq!(refused(&own), Unfit::NoScatter);
    let flat: Vec<_> = (0..9).map(|_| line(6.0, 0.0)).collect();
    assert_eq!(refused(&flat), Unfit::NoScatter);
    // One reading off its line by a thousandth is scatter enough.
    let mut off = own;
    off[3][2].value += 0.001;
    assert!(fit(&off, false, Method::Reml).unwrap().reading_sd > 0.0);
}

/// Two readings of each part always lie on its line. How the parts' hours differ tells the doubt of a reading even so;
/// where there is none, every other fleet would have it less than none, and is refused.
#[test]
fn two_readings_a_part_are_fitted_where_a_doubt_shows() {
    let mut draws = Draws(8);
    let mut two = |reading_sd: f64| -> Vec<Vec<MeanReading>> {
        (0..300)
            .map(|_| {
                let (a, b) = (6.0 + 0.3 * draws.normal(), 0.04 + 0.01 * draws.normal());
                let at = [
                    [5.0, 15.0][draws.up_to(2) - 1],
                    [50.0, 80.0][draws.up_to(2) - 1],
                ];
                at.map(|hours| reading(hours, a - b * hours + reading_sd * draws.normal()))
                    .to_vec()
            })
            .collect()
    };
    let got = fit(&two(0.3), false, Method::Reml).unwrap();
    assert!((got.reading_sd / 0.3 - 1.0).abs() < 0.2, "{got:?}");
    let unfit = (0..40)
        .filter_map(|_| fit(&two(0.0), false, Method::Reml).err())
        .inspect(|unfit| assert_eq!(*unfit, Unfit::NoScatter))
        .count();
    assert!((8..=32).contains(&unfit), "{unfit} of 40");
}

/// What scatters by a ten-millionth of how parts differ is still fitted to five digits.
#[test]
fn a_very_small_doubt_is_found() {
    let mut draws = Draws(9);
    let exact = crate::wear::draws::Truth {
        reading_sd: 1e-8,
        ..TRUTH
    };
    let got = fit(&exact.fleet(40, &mut draws), false, Method::Reml).unwrap();
    assert!((got.reading_sd / 1e-8 - 1.0).abs() < 0.3, "{got:?}");
    assert!((got.as_new_sd / 0.3 - 1.0).abs() < 0.3);
}
