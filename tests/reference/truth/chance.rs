//! The draws, by rand and rand_distr. The generator of random numbers is a named one, so that a seed draws the same fleet
//! with every version of the crates.

use rand::rngs::Xoshiro256PlusPlus;
use rand::{RngExt, SeedableRng};
use rand_distr::{Beta, Distribution, Exp1, Gamma, Normal, Poisson};

/// A source of chance.
#[derive(Debug, Clone)]
pub struct Chance(Xoshiro256PlusPlus);

impl Chance {
    /// The source of one thing's chance; `of` tells it from others with the same seed.
    pub fn new(seed: u64, of: u64) -> Self {
        Chance(Xoshiro256PlusPlus::seed_from_u64(
            seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ of.wrapping_mul(0xD1B5_4A32_D192_ED03),
        ))
    }

    /// A source of its own for something aside.
    pub fn aside(&mut self) -> Self {
        Chance(Xoshiro256PlusPlus::seed_from_u64(self.0.random()))
    }

    pub fn happens(&mut self, chance: f64) -> bool {
        self.0.random::<f64>() < chance
    }

    /// Uniform from 0 to 1.
    pub fn share(&mut self) -> f64 {
        self.0.random()
    }

    /// A whole number from `from` to `to`, both of them possible.
    pub fn whole(&mut self, from: i32, to: i32) -> i32 {
        self.0.random_range(from..=to)
    }

    /// A place in a list that is not empty.
    pub fn place(&mut self, len: usize) -> usize {
        self.0.random_range(0..len)
    }

    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        Normal::new(mean, sd)
            .expect("a deviation")
            .sample(&mut self.0)
    }

    /// Gamma with mean shape / rate; of shape 0 it is 0.
    pub fn gamma(&mut self, shape: f64, rate: f64) -> f64 {
        if shape <= 0.0 {
            return 0.0;
        }
        let gamma = Gamma::new(shape, 1.0 / rate).expect("a shape and a rate");
        gamma.sample(&mut self.0)
    }

    pub fn beta(&mut self, a: f64, b: f64) -> f64 {
        Beta::new(a, b).expect("two shapes").sample(&mut self.0)
    }

    /// Exponential with mean 1.
    pub fn exponential(&mut self) -> f64 {
        Exp1.sample(&mut self.0)
    }

    pub fn poisson(&mut self, mean: f64) -> u32 {
        if mean <= 0.0 {
            return 0;
        }
        let drawn: f64 = Poisson::new(mean).expect("a mean").sample(&mut self.0);
        drawn as u32
    }
}
