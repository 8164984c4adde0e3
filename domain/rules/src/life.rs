//! Life of parts that are not measured (section 5 of the computation), and breaks of shear fasteners.
//!
//! Weibayes (Nelson 1985; Abernethy, The New Weibull Handbook): the shape k is the sheet's, and L = scale^-k has a
//! Gamma(alpha, beta) distribution that failures and sound hours update.

use std::ops::RangeInclusive;

use serde::{Deserialize, Serialize};

use crate::rate::{Interval, RateBelief};

mod breaks;
pub mod fit;
pub mod learned;

pub use breaks::{LearnedBreaks, breaks_enough, learn as learn_breaks};

/// Weibull shapes that a sheet may have.
pub const SHAPES: RangeInclusive<f64> = 0.05..=20.0;

/// One part's life so far: from `entry` (0 unless it came to us used) to `exit`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct History {
    /// Age at which it came under observation, at least 0.
    pub entry: f64,
    /// Age at which it failed, was renewed while sound, or is now; at least `entry`.
    pub exit: f64,
    /// Whether it failed then.
    pub failed: bool,
}

/// A part found failed at an inspection: it failed between two ages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundFailed {
    /// Age at which it came under observation, at least 0.
    pub entry: f64,
    /// Age at which it was last known sound, at least `entry`.
    pub sound: f64,
    /// Age at which it was found failed, over `sound`.
    pub found: f64,
}

/// The life of a kind of part.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Life {
    /// Weibull shape k.
    pub shape: f64,
    /// Shape of the Gamma distribution of L = scale^-k: prior weight and failures.
    pub alpha: f64,
    /// Its rate parameter, age to the power k.
    pub beta: f64,
}

impl Life {
    /// The life after `histories`, from a prior of `prior_weight` failures at scale `prior_scale`, all over 0.
    pub fn new(shape: f64, prior_scale: f64, prior_weight: f64, histories: &[History]) -> Self {
        let mut alpha = prior_weight;
        let mut beta = prior_weight * prior_scale.powf(shape);
        for history in histories {
            alpha += f64::from(u8::from(history.failed));
            beta += power_gain(history.entry, history.exit - history.entry, shape);
        }
        Life { shape, alpha, beta }
    }

    /// The life after parts found failed at an inspection too: likelihood exp(-L sound^k) - exp(-L found^k) each,
    /// given that the part was sound at entry; the Gamma of the posterior's mean and variance.
    pub fn found_failed(self, found: &[FoundFailed]) -> Self {
        let mut exposure = 0.0;
        let mut intervals = Vec::with_capacity(found.len());
        for part in found {
            exposure += power_gain(part.entry, part.sound - part.entry, self.shape);
            intervals.push(Interval {
                exposure: power_gain(part.sound, part.found - part.sound, self.shape),
                certain: 1.0,
            });
        }
        let belief = RateBelief {
            alpha: self.alpha,
            beta: self.beta,
        }
        .learn(exposure, &intervals);
        Life {
            shape: self.shape,
            alpha: belief.alpha,
            beta: belief.beta,
        }
    }

    /// P(a part sound at `age` lasts `next` more), both at least 0.
    pub fn lasts(&self, age: f64, next: f64) -> f64 {
        self.lasts_from(age)(next)
    }

    /// The same of many lengths from one age.
    pub fn lasts_from(self, age: f64) -> impl Fn(f64) -> f64 {
        let gain = power_gain_from(age, self.shape);
        move |next| (-self.alpha * (gain(next) / self.beta).ln_1p()).exp()
    }
}

/// (x + d)^k - x^k without cancellation.
fn power_gain(x: f64, d: f64, k: f64) -> f64 {
    power_gain_from(x, k)(d)
}

/// The same for many d.
fn power_gain_from(x: f64, k: f64) -> impl Fn(f64) -> f64 {
    let power = x.powf(k);
    move |d| {
        if d <= 0.0 {
            0.0
        } else if k == 2.0 {
            // As most sheets have it.
            d * (2.0 * x + d)
        } else if d > x {
            (x + d).powf(k) - power
        } else {
            power * (k * (d / x).ln_1p()).exp_m1()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn life_falls_with_what_is_asked_and_rises_with_what_was_seen(
            shape in 0.5..5.0_f64, scale in 20.0..500.0_f64, weight in 0.5..10.0_f64,
            age in 0.0..400.0_f64, next in 0.0..100.0_f64, more in 0.0..100.0_f64,
        ) {
            let life = Life::new(shape, scale, weight, &[]);
            let now = life.lasts(age, next);
            prop_assert!((0.0..=1.0).contains(&now));
            prop_assert!(life.lasts(age, next + more) <= now);
            prop_assert_eq!(life.lasts(age, 0.0), 1.0);
            let sound = History { entry: 0.0, exit: 1.0 + more, failed: false };
            prop_assert!(Life::new(shape, scale, weight, &[sound]).lasts(age, next) >= now);
            let failed = History { failed: true, ..sound };
            prop_assert!(Life::new(shape, scale, weight, &[failed]).lasts(age, next)
                <= Life::new(shape, scale, weight, &[sound]).lasts(age, next));
            // A wearing part is worse when older.
            if shape >= 1.0 {
                prop_assert!(life.lasts(age + more, next) <= now + 1e-14);
            }
        }
    }

    /// Entered at 30 h, out at 50 h, shape 2, scale 100, weight 1: beta = 1 x 100^2 + 50^2 - 30^2 = 11,600. From new, 20 h
    /// more: (11600/(11600 + 400))^1 = 0.96667.
    #[test]
    fn a_life_worked_by_hand() {
        let history = History {
            entry: 30.0,
            exit: 50.0,
            failed: false,
        };
        let life = Life::new(2.0, 100.0, 1.0, &[history]);
        assert!((life.beta - 11_600.0).abs() < 1e-9);
        assert_eq!(life.alpha, 1.0);
        assert!((life.lasts(0.0, 20.0) - 29.0 / 30.0).abs() < 1e-12);
    }

    /// A failure found within a short interval is as good as a dated one.
    #[test]
    fn a_failure_found_at_once_is_dated() {
        let dated = History {
            entry: 0.0,
            exit: 80.0,
            failed: true,
        };
        let found = FoundFailed {
            entry: 0.0,
            sound: 79.999_99,
            found: 80.0,
        };
        let exact = Life::new(2.0, 100.0, 3.0, &[dated]);
        let got = Life::new(2.0, 100.0, 3.0, &[]).found_failed(&[found]);
        assert!((got.alpha / exact.alpha - 1.0).abs() < 1e-5);
        assert!((got.beta / exact.beta - 1.0).abs() < 1e-5);
    }
}
