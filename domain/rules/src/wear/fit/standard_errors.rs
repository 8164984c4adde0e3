//! How well a fit knows its figures.

use serde::{Deserialize, Serialize};

use super::likelihood::dot;
use super::search::Found;

/// Standard errors of a fit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitStandardErrors))]
pub struct StandardErrors {
    /// Of the mean value as new, given the spreads.
    pub as_new: f64,
    /// Of the mean rate, given the spreads.
    pub rate: f64,
    /// Of the spread as new, by the observed information; null where that spread is 0, at the end of what can be.
    pub as_new_sd: Option<f64>,
    /// Of the spread of rates, likewise.
    pub rate_sd: Option<f64>,
    /// Of the doubt of a reading, likewise; a spread that is 0 is taken for known.
    pub reading_sd: Option<f64>,
}

impl StandardErrors {
    pub(super) fn of(found: &Found, hours: f64, value: f64) -> Self {
        let profile = &found.profile;
        let sd = profile.variance.sqrt();
        let of_line = |entry: f64| sd * entry.max(0.0).sqrt();
        let spreads = Spreads::of(found);
        let scaled =
            |error: Option<f64>, unit: f64| error.filter(|e| e.is_finite()).map(|e| e * unit);
        StandardErrors {
            as_new: value * of_line(profile.inverse[0]),
            rate: value * of_line(profile.inverse[2]) / hours,
            as_new_sd: scaled(spreads.ratios[0], value),
            rate_sd: scaled(spreads.ratios[1], value / hours),
            reading_sd: scaled(spreads.reading, value),
        }
    }
}

/// Standard errors of the three spreads, in the units of the sums.
#[derive(Default)]
struct Spreads {
    ratios: [Option<f64>; 2],
    reading: Option<f64>,
}

impl Spreads {
    /// The inverse of half the second derivatives of -2 log L in (s_A, s_B, s) is had from that in (u, v, s^2) by the
    /// chain rule, since the first derivatives are 0. In the latter the deviance that was searched is the Schur
    /// complement, and s^2 follows u and v as -(change of the square) / counted.
    fn of(found: &Found) -> Self {
        let [a, b, c] = found.slopes.curvature;
        let free = found.ratios.map(|ratio| ratio > 0.0);
        // Twice the inverse over the free ratios.
        let covariance = match free {
            [true, true] => {
                let determinant = a * c - b * b;
                if !(a > 0.0 && determinant > 0.0) {
                    return Spreads::default();
                }
                [c, -b, a].map(|entry| 2.0 * entry / determinant)
            }
            [true, false] if a > 0.0 => [2.0 / a, 0.0, 0.0],
            [false, true] if c > 0.0 => [0.0, 0.0, 2.0 / c],
            [false, false] => [0.0; 3],
            _ => return Spreads::default(),
        };
        let profile = &found.profile;
        let variance = profile.variance;
        let follows = found.slopes.square.map(|square| -square / profile.counted);
        let rows = [
            [covariance[0], covariance[1]],
            [covariance[1], covariance[2]],
        ];
        let with_variance = rows.map(|row| dot(row, follows));
        let of_variance = 2.0 * variance * variance / profile.counted + dot(follows, with_variance);
        let ratios = [0, 1].map(|j| {
            // s_j = sqrt(u s^2).
            let (ratio, spread) = (found.ratios[j], (found.ratios[j] * variance).sqrt());
            let relative = rows[j][j] / (ratio * ratio)
                + 2.0 * with_variance[j] / (ratio * variance)
                + of_variance / (variance * variance);
            free[j].then(|| 0.5 * spread * relative.sqrt())
        });
        Spreads {
            ratios,
            reading: Some(0.5 * of_variance.sqrt() / variance.sqrt()),
        }
    }
}
