//! What machines live under: how the truth departs from the model, what a fleet's machines have in common, a depot's winters
//! and rounds.

use super::chance::Chance;
use super::figures::{PartFigures, Population};
use super::machine::Round;
use super::sky::{Day, Sky};

/// How the truth departs from what the model takes for true.
#[derive(Debug, Clone, Copy, Default)]
pub struct Twist {
    /// Wear speeds up: from 1 - `bend` of its usual rate on a new part to 1 + `bend` of it at its limit.
    pub bend: f64,
    /// So large a share of the batches that parts are bought in, one a depot, part and winter, wears so many times faster.
    pub bad_batches: Option<(f64, f64)>,
    /// In the first depot of each fleet everything wears, breaks and goes dead so many times faster.
    pub bad_depot: Option<f64>,
    /// A part that reaches its functional limit at work is noticed and renewed there, not at the next inspection.
    pub notices: bool,
    /// Hours are noted in the evening of each snow day too.
    pub daily_hours: bool,
    /// Of a part that ages by the calendar nobody sees that it has failed before the machine is wanted.
    pub unseen: bool,
    /// Nobody notes that a machine started for its day's work; only inspections' starts are on record.
    pub unrecorded_starts: bool,
}

/// What a fleet's machines have in common and nobody sees.
#[derive(Debug, Clone)]
pub struct Rates {
    /// Of going dead, a day.
    pub dead: f64,
    /// Chance of starting at once.
    pub at_once: f64,
    /// Breaks of shear fasteners an hour.
    pub breaks: f64,
    /// scale^-shape of each part that has a life, by model.
    pub life: [Vec<f64>; 2],
}

impl Rates {
    /// Draws a fleet's.
    pub fn draw(population: &Population, chance: &mut Chance) -> Self {
        let weight = population.at_once_weight;
        let mut life = || {
            let of_part = |part: &PartFigures, chance: &mut Chance| match &part.life {
                Some(life) => chance.gamma(life.weight, life.beta()),
                None => 0.0,
            };
            let parts = population.parts.iter();
            parts.map(|part| of_part(part, chance)).collect()
        };
        Rates {
            life: [life(), life()],
            dead: chance.gamma(population.dead_alpha, population.dead_beta),
            at_once: chance.beta(
                weight * population.at_once,
                weight * (1.0 - population.at_once),
            ),
            breaks: chance.gamma(population.break_alpha, population.break_hours),
        }
    }

    /// The same, so many times faster.
    pub fn faster(&self, times: f64) -> Self {
        let life = |of: &Vec<f64>| of.iter().map(|rate| rate * times).collect();
        Rates {
            dead: self.dead * times,
            at_once: self.at_once,
            breaks: self.breaks * times,
            life: [life(&self.life[0]), life(&self.life[1])],
        }
    }
}

/// What the machines of a depot live under.
pub struct Setting<'a> {
    pub population: &'a Population,
    pub twist: Twist,
    pub rates: &'a Rates,
    /// How much faster than elsewhere parts wear here.
    pub times: f64,
    pub sky: &'a Sky,
    /// Whether the batch of each part, by winter on record, is a bad one.
    pub bad_batches: Vec<Vec<bool>>,
    /// The days on which the depot inspects, a kind each.
    pub rounds: Vec<(Day, Round)>,
}
