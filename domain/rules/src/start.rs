//! Found dead (section 6 of the computation): the chance that a machine starts after standing, and what tests after
//! standing teach about it.

use serde::{Deserialize, Serialize};

use crate::rate::{Interval, RateBelief};
use crate::special::gamma_quantile;

mod learned;

pub use learned::{LearnedStart, StartsSeen, learn};

/// A start within so many days of a run tells of the chance of starting at once, not of going dead: such tests are not
/// for [`StartRate::learn`].
pub const AT_ONCE_DAYS: f64 = 2.0;

/// How a kind of machine starts after standing t days: p0 (beta / (beta + f t^k))^alpha.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn rate() -> impl Strategy<Value = StartRate> {
        (0.3..20.0_f64, 20.0..3000.0_f64, 0.5..2.0_f64, 0.5..=1.0_f64).prop_map(
            |(alpha, beta, shape, at_once)| StartRate {
                alpha,
                beta,
                shape,
                at_once,
            },
        )
    }

    proptest! {
        #[test]
        fn standing_longer_or_worse_never_helps(
            rate in rate(), days in 0.0..400.0_f64, more in 0.0..100.0_f64, factor in 1.0..3.0_f64,
        ) {
            let now = rate.chance(days, factor);
            prop_assert!((0.0..=1.0).contains(&now));
            prop_assert!(rate.chance(days + more, factor) <= now);
            prop_assert!(rate.chance(days, factor + more) <= now);
            prop_assert_eq!(rate.chance(0.0, factor), rate.at_once);
        }

        /// A failed start makes the next one less likely, a good one more.
        #[test]
        fn tests_teach_the_right_way(rate in rate(), days in 3.0..300.0_f64) {
            let test = |started| StartTest { days, started, factor: 1.0 };
            let at = |rate: &StartRate| rate.chance(100.0, 1.0);
            prop_assert!(at(&rate.learn(&[test(true)])) >= at(&rate) - 1e-12);
            // Matching two moments by a Gamma moves chances a little.
            prop_assert!(at(&rate.learn(&[test(false)])) <= at(&rate) + 1e-3);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// The shared doubt: chances at a known rate, averaged over the belief, are the chance.
        #[test]
        fn chances_at_each_rate_average_to_the_chance(rate in rate(), days in 0.0..300.0_f64) {
            let steps = 1000;
            let mean = (0..steps)
                .map(|i| rate.chance_at_rate(rate.quantile((f64::from(i) + 0.5) / f64::from(steps)), days, 1.5))
                .sum::<f64>() / f64::from(steps);
            prop_assert!((mean - rate.chance(days, 1.5)).abs() < 1e-3);
        }
    }

    /// A fleet whose machines go dead at a known rate, tested once each after long stands, learns that rate: taking a
    /// failure for an event at the day of the test would make long stands look better than they are.
    #[test]
    fn long_stands_are_not_flattered() {
        let truth = 1.0 / 300.0;
        let mut tests = Vec::new();
        for days in [60.0_f64, 120.0, 240.0, 300.0] {
            let started = (1000.0 * (-truth * days).exp()).round() as usize;
            for i in 0..1000 {
                tests.push(StartTest {
                    days,
                    started: i < started,
                    factor: 1.0,
                });
            }
        }
        let prior = StartRate {
            alpha: 1.0,
            beta: 100.0,
            shape: 1.0,
            at_once: 1.0,
        };
        let learned = prior.learn(&tests);
        // exp(-240/300) = 0.449.
        assert!((learned.chance(240.0, 1.0) - 0.449).abs() < 0.003);
    }
}
