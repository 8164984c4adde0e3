//! Fixed draws for tests: fleets of which the truth is known.

use super::fit::MeanReading;
use crate::special::normal_quantile;

/// The generator of Steele, Lea & Flood (2014), Fast splittable pseudorandom number generators.
pub(crate) struct Draws(pub u64);

impl Draws {
    /// Over 0 and under 1.
    pub fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^= z >> 31;
        ((z >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// A whole number from 1 to `most`.
    pub fn up_to(&mut self, most: usize) -> usize {
        1 + (self.uniform() * most as f64) as usize
    }
}

/// How the parts of a fleet truly wear, and how they are read.
#[derive(Clone, Copy)]
pub(crate) struct Truth {
    pub as_new: f64,
    pub as_new_sd: f64,
    pub rate: f64,
    pub rate_sd: f64,
    pub reading_sd: f64,
    /// What the square of hours adds.
    pub curvature: f64,
    /// Read at hours up to so many.
    pub hours_most: f64,
    /// So many times at most, at least once.
    pub readings_most: usize,
    /// Renewed after the first reading under this.
    pub renewed_under: f64,
}

/// Shoes of a two-stage machine, or the like.
pub(crate) const TRUTH: Truth = Truth {
    as_new: 6.0,
    as_new_sd: 0.3,
    rate: 0.04,
    rate_sd: 0.01,
    reading_sd: 0.2,
    curvature: 0.0,
    hours_most: 80.0,
    readings_most: 6,
    renewed_under: f64::NEG_INFINITY,
};

impl Truth {
    pub fn part(&self, draws: &mut Draws) -> Vec<MeanReading> {
        let as_new = self.as_new + self.as_new_sd * draws.normal();
        let rate = self.rate + self.rate_sd * draws.normal();
        let mut hours: Vec<f64> = (0..draws.up_to(self.readings_most))
            .map(|_| self.hours_most * draws.uniform())
            .collect();
        hours.sort_by(f64::total_cmp);
        let mut readings = Vec::new();
        for hours in hours {
            let path = as_new - rate * hours + self.curvature * hours * hours;
            let value = path + self.reading_sd * draws.normal();
            readings.push(MeanReading {
                hours,
                value,
                repeats: 1,
            });
            if value < self.renewed_under {
                break;
            }
        }
        readings
    }

    pub fn fleet(&self, parts: usize, draws: &mut Draws) -> Vec<Vec<MeanReading>> {
        (0..parts).map(|_| self.part(draws)).collect()
    }
}
