//! The demo's own random draws. Written out here, and from nothing in the rules, so that the hidden truth behind the
//! demo's history does not come from the code that later judges it.

use std::f64::consts::TAU;

use jiff::Timestamp;
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use uuid::{Builder, Uuid};

/// A stream of draws; the same seed and name give the same stream.
pub struct Draw(StdRng);

impl Draw {
    /// The stream of that name. Each machine, depot and winter has its own, so that a change to one leaves the others
    /// as they were.
    pub fn new(seed: u64, name: &str) -> Self {
        // FNV-1a over the name, then over the seed's bytes.
        let bytes = name.bytes().chain(seed.to_le_bytes());
        let mixed = bytes.fold(0xcbf2_9ce4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
        });
        Draw(StdRng::seed_from_u64(mixed))
    }

    /// Between 0, included, and 1.
    pub fn unit(&mut self) -> f64 {
        self.0.random()
    }

    /// Between `low`, included, and `high`.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with that chance.
    pub fn chance(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// One of these.
    pub fn pick<'a, T>(&mut self, from: &'a [T]) -> &'a T {
        &from[self.0.random_range(0..from.len())]
    }

    /// Normal, by Box and Muller.
    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let radius = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        mean + sd * radius * (TAU * self.unit()).cos()
    }

    /// Lognormal of that mean; `cv` is the standard deviation over the mean.
    pub fn lognormal(&mut self, mean: f64, cv: f64) -> f64 {
        let sigma2 = (1.0 + cv * cv).ln();
        mean * self.normal(-sigma2 / 2.0, sigma2.sqrt()).exp()
    }

    /// Gamma of that shape and mean, by Marsaglia and Tsang (2000).
    pub fn gamma(&mut self, shape: f64, mean: f64) -> f64 {
        if shape < 1.0 {
            let boost = (1.0 - self.unit()).powf(1.0 / shape);
            return self.gamma(shape + 1.0, mean * (shape + 1.0) / shape) * boost;
        }
        let d = shape - 1.0 / 3.0;
        let c = 1.0 / (9.0 * d).sqrt();
        loop {
            let x = self.normal(0.0, 1.0);
            let v = (1.0 + c * x).powi(3);
            if v > 0.0 && (1.0 - self.unit()).ln() < 0.5 * x * x + d - d * v + d * v.ln() {
                return d * v * mean / shape;
            }
        }
    }

    /// Weibull of that shape and scale, by inversion, given that it is over `age`.
    pub fn weibull_after(&mut self, shape: f64, scale: f64, age: f64) -> f64 {
        let spent = (age / scale).powf(shape);
        scale * (spent - (1.0 - self.unit()).ln()).powf(1.0 / shape)
    }

    /// An id of version 7 of that instant: in the order of time, and the same again for the same stream.
    pub fn id(&mut self, at: Timestamp) -> Uuid {
        let millis = u64::try_from(at.as_millisecond()).unwrap_or_default();
        let bytes: [u8; 10] = self.0.random();
        Builder::from_unix_timestamp_millis(millis, &bytes).into_uuid()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Mean and variance of the textbook distributions (any statistics handbook), within five standard errors.
    #[test]
    fn draws_have_the_moments_of_their_distributions() {
        let mut draw = Draw::new(7, "moments");
        let mut check = |name: &str, mean: f64, sd: f64, one: &mut dyn FnMut(&mut Draw) -> f64| {
            let n = 40_000;
            let sum: f64 = (0..n).map(|_| one(&mut draw)).sum();
            let got = sum / f64::from(n);
            let error = sd / f64::from(n).sqrt();
            assert!(
                (got - mean).abs() < 5.0 * error,
                "{name}: mean {got}, wanted {mean}"
            );
        };
        check("normal", 2.0, 0.5, &mut |draw| draw.normal(2.0, 0.5));
        check("normal squared", 1.0, 2f64.sqrt(), &mut |draw| {
            draw.normal(0.0, 1.0).powi(2)
        });
        check("lognormal", 3.0, 1.2, &mut |draw| draw.lognormal(3.0, 0.4));
        check("gamma", 1.5, 1.5 / 2f64.sqrt(), &mut |draw| {
            draw.gamma(2.0, 1.5)
        });
        check("gamma under one", 1.0, 2f64.sqrt(), &mut |draw| {
            draw.gamma(0.5, 1.0)
        });
        // Shape 1 forgets its age: the exponential.
        check("weibull", 900.0, 400.0, &mut |draw| {
            draw.weibull_after(1.0, 400.0, 500.0)
        });
        // Mean of shape 2: scale sqrt(pi) / 2; its standard deviation is 0.463 scale.
        check("weibull", 88.6227, 46.3, &mut |draw| {
            draw.weibull_after(2.0, 100.0, 0.0)
        });
    }
}
