//! How often straight paths are flagged, and bent ones. 1,000 fleets of a straight truth at 1 %: between 2 and 20 flags
//! with a chance of 99.8 % (binomial).

use super::*;
use crate::wear::draws::{Draws, TRUTH, Truth};

/// Flags in 1,000 fleets.
fn flags(truth: Truth, parts: usize, seed: u64) -> usize {
    let mut draws = Draws(seed);
    (0..1000)
        .filter(|_| {
            fit(&truth.fleet(parts, &mut draws), false, Method::Reml)
                .is_ok_and(|fit| fit.bend.is_some_and(|bend| bend.bends))
        })
        .count()
}

/// Few parts and many, spreads that come out as none, and parts that are renewed at the first bad reading: taking each
/// part's own line instead of the mixed model flags the last of these six times too often (tried: 7.7 % of 200 parts).
#[test]
fn straight_paths_are_flagged_once_in_a_hundred_times() {
    let alike = Truth {
        as_new_sd: 0.1,
        rate_sd: 0.003,
        ..TRUTH
    };
    let renewed = Truth {
        readings_most: 8,
        renewed_under: 4.0,
        ..TRUTH
    };
    for (truth, parts) in [
        (TRUTH, 12),
        (TRUTH, 40),
        (alike, 20),
        (renewed, 20),
        (renewed, 100),
    ] {
        let flags = flags(truth, parts, 11);
        assert!(
            (2..=20).contains(&flags),
            "{flags} in 1,000 of {parts} parts"
        );
    }
}

/// A path that wears two fifths faster at first than at 80 h, or slower.
#[test]
fn bent_paths_are_flagged() {
    for curvature in [0.0002, -0.0002] {
        let bent = Truth {
            curvature,
            renewed_under: 3.0,
            readings_most: 8,
            ..TRUTH
        };
        let flags = flags(bent, 40, 12);
        assert!(flags > 700, "{flags} in 1,000");
        let got = fit(&bent.fleet(200, &mut Draws(13)), false, Method::Reml)
            .unwrap()
            .bend
            .unwrap();
        assert!(
            got.bends && (got.curvature / curvature - 1.0).abs() < 0.3,
            "{got:?}"
        );
    }
}

/// Hours of two kinds only: no bend can be seen, and none is said.
#[test]
fn two_ages_show_no_bend() {
    let mut draws = Draws(14);
    let groups: Vec<Vec<MeanReading>> = (0..10)
        .map(|_| {
            [10.0, 10.0, 60.0, 60.0]
                .map(|hours| reading(hours, 6.0 - 0.04 * hours + draws.normal()))
                .to_vec()
        })
        .collect();
    assert_eq!(fit(&groups, false, Method::Reml).unwrap().bend, None);
}
