//! Wear that is measured (section 4 of the computation): where a measure stands, how fast it moves, and the chance that
//! it has not reached its limit yet.
//!
//! The general path model (Meeker & Escobar, Statistical Methods for Reliability Data, chapter 13): a measure is
//! A - B h + e after h running hours, A and B normal, e the doubt of reading. Growing measures are mirrored.
//! P(not reached at h) is unconditional: divided by its value now it would rise as a part wears.

pub mod fit;
pub mod learned;

use serde::{Deserialize, Serialize};

use crate::hours::HoursTable;
use crate::sheet::{Measure, WearSpec};
use crate::special::{FastNormal, normal_cdf, normal_quantile};

/// What is known of a part's wear before it is read.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = LearnedWearPrior))]
pub struct WearPrior {
    /// Mean value as new.
    pub as_new: f64,
    /// Its standard deviation from part to part, over 0.
    pub as_new_sd: f64,
    /// Mean wear an hour, positive towards the limit.
    pub rate: f64,
    /// Its standard deviation from part to part, over 0.
    pub rate_sd: f64,
    /// Standard deviation of one reading, over 0.
    pub reading_sd: f64,
    /// Whether the value grows as the part wears; it falls otherwise.
    pub grows: bool,
}

impl WearPrior {
    /// What a sheet says of how `measure` wears.
    pub fn of_sheet(measure: &Measure, figures: &WearSpec) -> Self {
        WearPrior {
            as_new: measure.limits.as_new.value,
            as_new_sd: figures.as_new_sd.value,
            rate: figures.rate.value,
            rate_sd: figures.rate_sd.value,
            reading_sd: measure
                .repeatability
                .value
                .max(measure.resolution.value / 12f64.sqrt()),
            grows: measure.limits.high.is_some(),
        }
    }
}

/// One reading of a measure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearReading {
    /// Running hours since the part was fitted.
    pub hours: f64,
    /// The value read.
    pub value: f64,
}

/// Where a measure stands, after its readings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearPath {
    /// Posterior mean of the value as new.
    pub as_new: f64,
    /// Posterior mean of the wear an hour, positive towards the limit.
    pub rate: f64,
    /// Posterior covariance of (as_new, rate).
    pub covariance: [[f64; 2]; 2],
    /// 1 where the value falls, -1 where it grows.
    sign: f64,
    /// The hours at which value and rate are independent.
    centre_hours: f64,
    /// Posterior mean and variance of the value there, mirrored if it grows.
    level: f64,
    level_variance: f64,
    rate_variance: f64,
}

impl WearPath {
    /// The posterior of the path after `readings`, in any order, possibly none.
    pub fn new(prior: &WearPrior, readings: &[WearReading]) -> Self {
        let sign = if prior.grows { -1.0 } else { 1.0 };
        // Least squares by rotations on rows (1, -h | residual) / sd keeps the digits that the normal equations lose.
        // Triangle [[r, c], [0, s]] of the deviations (dA, dB) from the prior, right-hand side (p, q).
        let (mut r, mut c, mut s) = (1.0 / prior.as_new_sd, 0.0_f64, 1.0 / prior.rate_sd);
        let (mut p, mut q) = (0.0_f64, 0.0_f64);
        for reading in readings {
            let expected = sign * prior.as_new - prior.rate * reading.hours;
            let mut first = 1.0 / prior.reading_sd;
            let mut second = -reading.hours / prior.reading_sd;
            let mut right = (sign * reading.value - expected) / prior.reading_sd;
            let length = r.hypot(first);
            let (cosine, sine) = (r / length, first / length);
            r = length;
            (c, second) = (cosine * c + sine * second, cosine * second - sine * c);
            (p, right) = (cosine * p + sine * right, cosine * right - sine * p);
            first = second;
            let length = s.hypot(first);
            let (cosine, sine) = (s / length, first / length);
            s = length;
            q = cosine * q + sine * right;
        }
        let rate_deviation = q / s;
        let as_new_deviation = (p - c * rate_deviation) / r;
        let rate = prior.rate + rate_deviation;
        let as_new = sign * prior.as_new + as_new_deviation;
        // A - B h = (A - B centre) - B (h - centre) with the two independent at centre = cov(A, B) / var(B).
        let centre_hours = -c / r;
        let level_variance = 1.0 / (r * r);
        let rate_variance = 1.0 / (s * s);
        let covariance = sign * centre_hours * rate_variance;
        let as_new_variance = level_variance + centre_hours * centre_hours * rate_variance;
        WearPath {
            as_new: sign * as_new,
            rate,
            covariance: [[as_new_variance, covariance], [covariance, rate_variance]],
            sign,
            centre_hours,
            level: as_new - rate * centre_hours,
            level_variance,
            rate_variance,
        }
    }

    /// Mean of the value at `hours`.
    pub fn value_at(&self, hours: f64) -> f64 {
        self.sign * (self.level - self.rate * (hours - self.centre_hours))
    }

    /// Standard deviation of the value at `hours`, without the doubt of a reading.
    pub fn value_sd(&self, hours: f64) -> f64 {
        let x = hours - self.centre_hours;
        (self.level_variance + self.rate_variance * x * x).sqrt()
    }

    /// Unconditional P(the value at `at_hours` has not reached `limit`).
    pub fn lasts(&self, limit: f64, at_hours: f64) -> f64 {
        normal_cdf(self.score(limit, at_hours))
    }

    /// Running hours to come from `from_hours` until P(`limit` reached) is `p`, over 0 and under 1: 0 if it is past
    /// already, `None` if it never comes to that (a rate that may well be none keeps P under a bound).
    pub fn hours_until(&self, limit: f64, from_hours: f64, p: f64) -> Option<f64> {
        // P(reached) >= p where the score is at most z.
        self.hours_until_score(limit, from_hours, -normal_quantile(p))
    }

    /// The same until the value stands but `z` of its standard deviations short of `limit`.
    pub(crate) fn hours_until_score(&self, limit: f64, from_hours: f64, z: f64) -> Option<f64> {
        if self.score(limit, from_hours) <= z {
            return Some(0.0);
        }
        let start = from_hours - self.centre_hours;
        self.crossing(self.above(limit), z)
            .filter(|x| *x > start)
            .map(|x| x - start)
    }

    /// P(the limit is not reached) averaged over the running hours to come from `from_hours` until each day of `table`.
    pub fn lasts_over<const N: usize>(
        &self,
        limit: f64,
        from_hours: f64,
        table: &HoursTable<N>,
    ) -> [f64; N] {
        let normal = FastNormal::new();
        let above = self.above(limit);
        let start = from_hours - self.centre_hours;
        let survival = |hours: f64| {
            let x = start + hours;
            normal.cdf((above - self.rate * x) / self.sd(x))
        };
        // Where in hours to come the limit is crossed in the mean, and over how many hours. Behind, or never, there is no
        // place: only how fast the chance changes from now on.
        let place = above / self.rate;
        let ahead = self.rate != 0.0 && place > start;
        if start < 0.0 || (ahead && self.rate < 0.0) {
            // Before the centre of its readings the doubt falls with hours, and the chance may rise.
            let about_centre = (-start, (self.level_variance / self.rate_variance).sqrt());
            let about_place = (place - start, self.sd(place) / self.rate.abs());
            let places = [about_centre, about_place];
            let places = if ahead { &places[..] } else { &places[..1] };
            let means = table.average_about(places, survival);
            return means.map(|mean| mean.clamp(0.0, 1.0));
        }
        let (middle, at, slope) = if ahead {
            (place - start, place, self.rate)
        } else {
            (0.0, start, self.rate.abs().max(self.rate_variance.sqrt()))
        };
        // No crossing: the score never comes down to z, or it is under z all along.
        let ends_at = -self.rate / self.rate_variance.sqrt();
        let never = |z: f64| {
            if ends_at >= z {
                f64::INFINITY
            } else {
                f64::NEG_INFINITY
            }
        };
        let means = table.average_step(middle, self.sd(at) / slope, survival, |z| {
            self.crossing(above, z).unwrap_or_else(|| never(z)) - start
        });
        // Weights sum to 1 but for the last digit.
        means.map(|mean| mean.min(1.0))
    }

    /// How far the value at the centre is from `limit`, mirrored if it grows.
    fn above(&self, limit: f64) -> f64 {
        self.level - self.sign * limit
    }

    /// Standard deviation of the value `x` hours from the centre.
    fn sd(&self, x: f64) -> f64 {
        (self.level_variance + self.rate_variance * x * x).sqrt()
    }

    /// As [`WearPath::lasts`], at a fraction of its cost, within 1e-11.
    pub(crate) fn lasts_fast(&self, normal: FastNormal, limit: f64, at_hours: f64) -> f64 {
        normal.cdf(self.score(limit, at_hours))
    }

    /// Standard deviations between the value and `limit` at `hours`.
    fn score(&self, limit: f64, hours: f64) -> f64 {
        let x = hours - self.centre_hours;
        (self.above(limit) - self.rate * x) / self.sd(x)
    }

    /// The hours from the centre at which the score comes down to `z`, given that it was over it before; `None` if it
    /// never does.
    ///
    /// g - B x = z sd(x), squared, has the roots (g B +- z root) / (B^2 - z^2 vb), root = sqrt(g^2 vb + B^2 va - z^2 va vb).
    /// With the sign of z kept, minus is where the score comes down: the only root where B^2 > z^2 vb and the score ends
    /// under z; otherwise the first of two (z < 0) or the last (z > 0).
    fn crossing(&self, above: f64, z: f64) -> Option<f64> {
        let (rate, square) = (self.rate, z * z);
        let (va, vb) = (self.level_variance, self.rate_variance);
        let root = (above * above * vb + rate * rate * va - square * va * vb).sqrt();
        let quadratic = rate * rate - square * vb;
        let sum = above * rate;
        // Of two forms the one whose terms add up.
        let x = if sum * z <= 0.0 {
            (sum - z * root) / quadratic
        } else {
            (above * above - square * va) / (sum + z * root)
        };
        // Squaring also finds where the score is -z, or, of a measure that recovers for certain enough, where it comes up.
        let right = if quadratic > 0.0 {
            rate > 0.0
        } else {
            (above - rate * x) * z >= 0.0
        };
        (x.is_finite() && right).then_some(x)
    }
}

#[cfg(test)]
pub(crate) mod draws;
#[cfg(test)]
mod tests;
