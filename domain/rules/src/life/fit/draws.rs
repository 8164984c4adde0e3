//! Lives drawn from a known Weibull distribution. Written from its definition, apart from the code under test.

use crate::life::History;

/// SplitMix64 (Steele, Lea & Flood 2014): the same draws on every machine.
pub(in crate::life) struct Draws(pub u64);

impl Draws {
    /// Evenly spread over 0 to 1, both left out.
    pub fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64 + 0.5 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    /// An age at failure.
    pub fn life(&mut self, shape: f64, scale: f64) -> f64 {
        scale * (-self.even().ln()).powf(1.0 / shape)
    }

    /// Lives watched from new until they fail or some age between 0.3 and 1.5 scales, as many as fit `failures`.
    pub fn watched(&mut self, shape: f64, scale: f64, failures: usize) -> Vec<History> {
        let mut histories = Vec::new();
        let mut seen = 0;
        while seen < failures {
            let (life, until) = (self.life(shape, scale), self.between(0.3, 1.5) * scale);
            seen += usize::from(life <= until);
            histories.push(History {
                entry: 0.0,
                exit: life.min(until),
                failed: life <= until,
            });
        }
        histories
    }
}
