//! Life of parts that are not measured (section 5 of the computation), and breaks of shear fasteners.
//!
//! Weibayes (Nelson 1985; Abernethy, The New Weibull Handbook): the shape k is the sheet's, and L = scale^-k has a
//! Gamma(alpha, beta) distribution that failures and sound hours update.

use crate::rate::{Interval, RateBelief};
use crate::special::beta_tails;

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
#[derive(Debug, Clone, Copy, PartialEq)]
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
        let gain = power_gain(age, next, self.shape);
        (-self.alpha * (gain / self.beta).ln_1p()).exp()
    }
}

/// (x + d)^k - x^k without cancellation.
fn power_gain(x: f64, d: f64, k: f64) -> f64 {
    if d <= 0.0 {
        0.0
    } else if d > x {
        (x + d).powf(k) - x.powf(k)
    } else {
        x.powf(k) * (k * (d / x).ln_1p()).exp_m1()
    }
}

/// P(at most `spares` breaks in `hours`) where the rate of breaks an hour is Gamma(`alpha`, `beta`): the negative
/// binomial distribution function, I_p(alpha, spares + 1) with p = beta / (beta + hours).
pub fn breaks_enough(alpha: f64, beta: f64, hours: f64, spares: u32) -> f64 {
    let total = beta + hours;
    beta_tails(alpha, f64::from(spares) + 1.0, beta / total, hours / total).0
}
