//! What is believed of a rate that is never seen itself: a Gamma distribution, and what dated and undated failures
//! teach about it. Shared by machines found dead (section 6) and parts found failed (section 5).

/// Gamma(alpha, beta) of a rate; mean alpha / beta.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RateBelief {
    /// Shape, over 0.
    pub alpha: f64,
    /// Rate parameter, over 0.
    pub beta: f64,
}

/// A failure somewhere in an interval of exposure c: likelihood 1 - q exp(-l c).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Interval {
    /// c, at least 0.
    pub exposure: f64,
    /// q, 0 to 1: the chance of no failure at no exposure.
    pub certain: f64,
}

/// Nodes at most.
const NODES_MAX: usize = 1 << 16;

impl RateBelief {
    /// The belief after so many dated failures in `exposure`: a Poisson number, so that the Gamma stays one.
    pub(crate) fn counted(self, failures: f64, exposure: f64) -> Self {
        RateBelief {
            alpha: self.alpha + failures,
            beta: self.beta + exposure,
        }
    }

    /// The belief after `exposure` without failure and failures somewhere in each of `intervals`: exact without any,
    /// else the Gamma of the posterior's mean and variance.
    ///
    /// The posterior is integrated over s = ln l, where its tails fall at least exponentially, by the trapezoid rule,
    /// halving its step until mean and variance stand.
    pub(crate) fn learn(self, exposure: f64, intervals: &[Interval]) -> Self {
        let beta = self.beta + exposure;
        // Equal intervals are common (a fleet tested on one day) and cost once.
        let mut grouped: Vec<(Interval, f64)> = Vec::new();
        let mut sorted: Vec<Interval> = intervals
            .iter()
            .copied()
            .filter(|interval| interval.certain > 0.0)
            .collect();
        sorted.sort_unstable_by(|left, right| {
            left.exposure
                .total_cmp(&right.exposure)
                .then(left.certain.total_cmp(&right.certain))
        });
        for interval in sorted {
            match grouped.last_mut() {
                Some((last, count)) if *last == interval => *count += 1.0,
                _ => grouped.push((interval, 1.0)),
            }
        }
        // With no exposure the likelihood is a constant.
        grouped.retain(|(interval, _)| interval.exposure > 0.0);
        let Some(widest) = grouped.last().map(|(interval, _)| interval.exposure) else {
            return RateBelief {
                alpha: self.alpha,
                beta,
            };
        };
        let failures: f64 = grouped.iter().map(|(_, count)| count).sum();
        // From here on d = s - ln(alpha / beta), so that a well known rate keeps its digits. Failures only push the rate
        // up, at most to where as many dated ones would: between the prior's lower and that belief's upper tail.
        let centre = (self.alpha / beta).ln();
        let low = (1.0 / self.alpha).max(1.0).ln() - 45.0 / self.alpha - 9.0 / self.alpha.sqrt();
        let most = self.alpha + failures;
        let high = ((most + 40.0 + (80.0 * most).sqrt()) / self.alpha).ln();
        // Left of a knee, under the prior's place and where an interval's likelihood turns, nodes spread out
        // exponentially: d = u - exp(knee - u).
        let smallest = self.alpha.max(1.0);
        let prior_place = (smallest / self.alpha).ln() - 3.0 / smallest.sqrt();
        let knee = prior_place.min(-widest.ln() - 3.0 - centre);
        let (low, high) = (before_bend(low, knee), before_bend(high, knee));
        let ln_posterior = |u: f64| {
            let bend = (knee - u).exp();
            let d = u - bend;
            let rate = (centre + d).exp();
            let mut sum = self.alpha * (d - d.exp_m1()) + bend.ln_1p();
            for (interval, count) in &grouped {
                let x = rate * interval.exposure;
                sum += count * ln_failed(x, interval.certain);
            }
            (rate, sum)
        };
        let moments = |nodes: usize| {
            let step = (high - low) / nodes as f64;
            let values: Vec<(f64, f64)> = (0..=nodes)
                .map(|i| ln_posterior(low + step * i as f64))
                .collect();
            let top = values
                .iter()
                .map(|value| value.1)
                .fold(f64::NEG_INFINITY, f64::max);
            let weights: Vec<f64> = values.iter().map(|value| (value.1 - top).exp()).collect();
            let total: f64 = weights.iter().sum();
            let mean = values
                .iter()
                .zip(&weights)
                .map(|(value, weight)| value.0 * weight)
                .sum::<f64>()
                / total;
            let variance = values
                .iter()
                .zip(&weights)
                .map(|(value, weight)| (value.0 - mean).powi(2) * weight)
                .sum::<f64>()
                / total;
            (mean, variance)
        };
        // No posterior is narrower than that of as many dated failures.
        let step = 0.25_f64.min(0.5 / most.sqrt());
        let mut nodes = (((high - low) / step).ceil() as usize).clamp(64, NODES_MAX / 2);
        let (mut mean, mut variance) = moments(nodes);
        while nodes < NODES_MAX {
            nodes *= 2;
            let (next_mean, next_variance) = moments(nodes);
            let settled = (next_mean - mean).abs() <= 1e-11 * next_mean
                && (next_variance - variance).abs() <= 1e-11 * next_variance;
            (mean, variance) = (next_mean, next_variance);
            if settled {
                break;
            }
        }
        RateBelief {
            alpha: mean * mean / variance,
            beta: mean / variance,
        }
    }
}

/// The u with u - exp(knee - u) = `d`.
fn before_bend(d: f64, knee: f64) -> f64 {
    // Newton's method from the right, where the function is steepest last: it is concave and rises, so the second step
    // and all after it come from the left.
    let mut u = if d > knee {
        d
    } else {
        knee - (knee - d + 1.0).ln()
    };
    for _ in 0..60 {
        let bend = (knee - u).exp();
        u -= (u - bend - d) / (1.0 + bend);
    }
    u
}

/// ln(1 - q exp(-x)).
fn ln_failed(x: f64, q: f64) -> f64 {
    if q >= 1.0 {
        (-(-x).exp_m1()).ln()
    } else {
        (-q * (-x).exp()).ln_1p()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// With one failure and q = 1 the posterior is a difference of two Gammas, whose moments are closed:
    /// l^(a-1) e^(-bl) (1 - e^(-cl)) integrates to G(a) (b^-a - (b+c)^-a).
    fn one_failure(alpha: f64, beta: f64, c: f64, q: f64) -> RateBelief {
        let moment = |order: f64| {
            let power = alpha + order;
            beta.powf(-power) - q * (beta + c).powf(-power)
        };
        let mean = alpha * moment(1.0) / moment(0.0);
        let second = alpha * (alpha + 1.0) * moment(2.0) / moment(0.0);
        let variance = second - mean * mean;
        RateBelief {
            alpha: mean * mean / variance,
            beta: mean / variance,
        }
    }

    proptest! {
        #[test]
        fn one_failure_is_learned_exactly(
            alpha in 0.05..20.0_f64, beta in 1.0..1000.0_f64, c in 0.5..500.0_f64, q in prop_oneof![Just(1.0), 0.0..1.0_f64],
        ) {
            let got = RateBelief { alpha, beta }.learn(0.0, &[Interval { exposure: c, certain: q }]);
            let exact = one_failure(alpha, beta, c, q);
            prop_assert!((got.alpha / exact.alpha - 1.0).abs() < 1e-8, "{got:?} {exact:?}");
            prop_assert!((got.beta / exact.beta - 1.0).abs() < 1e-8, "{got:?} {exact:?}");
        }

        /// Many failures in very short intervals are dated failures: alpha + r, beta.
        #[test]
        fn failures_in_short_intervals_are_dated(alpha in 0.5..10.0_f64, beta in 50.0..500.0_f64, r in 1..200_usize) {
            let interval = Interval { exposure: 1e-9, certain: 1.0 };
            let got = RateBelief { alpha, beta }.learn(0.0, &vec![interval; r]);
            prop_assert!((got.alpha / (alpha + r as f64) - 1.0).abs() < 1e-6, "{got:?}");
            prop_assert!((got.beta / beta - 1.0).abs() < 1e-6, "{got:?}");
        }
    }

    #[test]
    fn without_failures_the_belief_is_exact() {
        let belief = RateBelief {
            alpha: 2.0,
            beta: 100.0,
        };
        let got = belief.learn(50.0, &[]);
        assert_eq!((got.alpha, got.beta), (2.0, 150.0));
        // A failure of a machine that may fail at once anyway, and did not stand, teaches nothing.
        let at_once = Interval {
            exposure: 0.0,
            certain: 0.9,
        };
        assert_eq!(belief.learn(50.0, &[at_once]).beta, 150.0);
    }
}
