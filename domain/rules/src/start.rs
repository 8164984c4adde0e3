//! Found dead (section 6 of the computation): the chance that a machine starts after standing, and what tests after
//! standing teach about it.

use crate::rate::{Interval, RateBelief};
use crate::special::gamma_quantile;

/// A start within so many days of a run tells of the chance of starting at once, not of going dead: such tests are not
/// for [`StartRate::learn`].
pub const AT_ONCE_DAYS: f64 = 2.0;

/// How a kind of machine starts after standing t days: p0 (beta / (beta + f t^k))^alpha.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartRate {
    /// Shape of the Gamma distribution of the rate l of going dead, over 0.
    pub alpha: f64,
    /// Its rate parameter, days to the power `shape`, over 0.
    pub beta: f64,
    /// Power k of the days stood, over 0; 1 unless the sheet says otherwise.
    pub shape: f64,
    /// Chance p0 of starting at once, 0 to 1.
    pub at_once: f64,
}

/// A test of a machine that stood.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StartTest {
    /// Days since its last proven run, at least 0.
    pub days: f64,
    /// Whether it started.
    pub started: bool,
    /// The sheet's factor on t^k for its battery, fuel and storage; 1 if all was well.
    pub factor: f64,
}

impl StartRate {
    /// P(starts after standing `days` with factor `factor`), both at least 0.
    pub fn chance(&self, days: f64, factor: f64) -> f64 {
        let exposure = factor * days.powf(self.shape);
        self.at_once * (-self.alpha * (exposure / self.beta).ln_1p()).exp()
    }

    /// P(starts) where the rate of going dead is known to be `rate`: p0 exp(-l f t^k).
    pub fn chance_at_rate(&self, rate: f64, days: f64, factor: f64) -> f64 {
        self.at_once * (-rate * factor * days.powf(self.shape)).exp()
    }

    /// The rate of going dead that the belief puts at quantile `u`, 0 to 1.
    pub fn quantile(&self, u: f64) -> f64 {
        gamma_quantile(self.alpha, self.beta, u)
    }

    /// The belief after `tests`: a good start multiplies exp(-l f t^k), a failed one 1 - p0 exp(-l f t^k), since the
    /// machine went dead somewhere in between. Exact while all started, else the Gamma of the posterior's mean and
    /// variance. A failed test that cannot be (no days, p0 = 1) is left out.
    pub fn learn(&self, tests: &[StartTest]) -> StartRate {
        let mut exposure = 0.0;
        let mut failed = Vec::new();
        for test in tests {
            let stood = test.factor * test.days.powf(self.shape);
            if test.started {
                exposure += stood;
            } else {
                failed.push(Interval {
                    exposure: stood,
                    certain: self.at_once,
                });
            }
        }
        let belief = RateBelief {
            alpha: self.alpha,
            beta: self.beta,
        }
        .learn(exposure, &failed);
        StartRate {
            alpha: belief.alpha,
            beta: belief.beta,
            ..*self
        }
    }
}
