//! What the forecaster believes of a fleet's rates, by the lives and starts that were noted.

use std::collections::BTreeMap;

use rimeyard_rules::sheet::Clock;

use super::super::chance::Chance;
use super::super::depot::{Case, Depot};
use super::super::figures::Living;
use super::super::sky::{THIS_WINTER, july};
use super::{FUTURES, Knows};

/// What it believes of the fleet's rates: so many draws of each.
pub struct Rates {
    /// Rate of going dead and chance of starting at once.
    pub start: Vec<(f64, f64)>,
    pub breaks: Vec<f64>,
    /// By model and part.
    pub life: [Vec<Vec<f64>>; 2],
}

impl Rates {
    pub fn draw(case: &Case, depot: &Depot, knows: Knows, chance: &mut Chance) -> Self {
        let population = &case.population;
        if knows == Knows::Rates {
            let of_model = |model: usize| {
                let rates = depot.rates.life[model].iter();
                rates.map(|rate| vec![*rate; FUTURES]).collect()
            };
            return Rates {
                start: vec![(depot.rates.dead, depot.rates.at_once); FUTURES],
                breaks: vec![depot.rates.breaks; FUTURES],
                life: [of_model(0), of_model(1)],
            };
        }
        let mut of_model = |model: usize| {
            let parts = population.parts.iter().enumerate();
            let lives = parts.map(|(place, part)| match &part.life {
                Some(life) => lives(life, place, model, depot, chance),
                None => vec![0.0; FUTURES],
            });
            lives.collect::<Vec<_>>()
        };
        let life = [of_model(0), of_model(1)];
        Rates {
            life,
            start: starts(case, depot, chance),
            breaks: (0..FUTURES)
                .map(|_| chance.gamma(population.break_alpha, population.break_hours / depot.times))
                .collect(),
        }
    }
}

/// Draws from weights over a grid.
fn drawn<T: Copy>(grid: &[(T, f64)], chance: &mut Chance) -> Vec<T> {
    let top = grid
        .iter()
        .map(|point| point.1)
        .fold(f64::NEG_INFINITY, f64::max);
    let mut total = 0.0;
    let summed: Vec<f64> = grid
        .iter()
        .map(|point| {
            total += (point.1 - top).exp();
            total
        })
        .collect();
    // One draw in each of so many equal shares.
    let draws = (0..FUTURES).map(|share| {
        let at = (share as f64 + chance.share()) / FUTURES as f64 * total;
        let place = summed.partition_point(|sum| *sum < at);
        grid[place.min(grid.len() - 1)].0
    });
    let mut draws: Vec<T> = draws.collect();
    for place in (1..draws.len()).rev() {
        draws.swap(place, chance.place(place + 1));
    }
    draws
}

/// scale^-shape of a part, by the lives of its depot and model: what failed at work did so at known hours, what ages by
/// the calendar between the last day on which it was seen to work and the day on which it did not.
fn lives(
    life: &Living,
    place: usize,
    model: usize,
    depot: &Depot,
    chance: &mut Chance,
) -> Vec<f64> {
    let mut exposure = 0.0;
    let mut failures = 0.0;
    let mut between = Vec::new();
    let power = |age: f64| age.max(0.0).powf(life.shape);
    for machine in depot
        .machines
        .iter()
        .filter(|machine| machine.model == model)
    {
        let base = machine.meter.last().map_or(0.0, |meter| meter.1);
        for part in machine.parts[place]
            .iter()
            .filter(|part| machine.is_known(part))
        {
            let failed = part.removed.filter(|removed| removed.failed);
            match life.clock {
                Clock::Hours => {
                    let hours = part.removed.map_or(base, |removed| removed.hours);
                    exposure += power(hours - part.hours);
                    failures += f64::from(u8::from(failed.is_some()));
                }
                Clock::Days => {
                    let sound = power(f64::from(part.sound - part.day));
                    exposure += sound;
                    if let Some(failed) = failed {
                        between.push(power(f64::from(failed.day - part.day)) - sound);
                    }
                }
            }
        }
    }
    let (alpha, beta) = (life.weight + failures, life.beta() / depot.times + exposure);
    let spread = 5.0 / life.weight.sqrt();
    let middle = (life.weight / beta).ln();
    let grid: Vec<(f64, f64)> = (0..400)
        .map(|step| {
            let ln = middle + spread * (f64::from(step) / 200.0 - 1.0);
            let rate = ln.exp();
            let found: f64 = between
                .iter()
                .map(|one| (-(-rate * one).exp_m1()).ln())
                .sum();
            // A step in the logarithm is a step of the rate times the rate.
            (rate, alpha * ln - beta * rate + found)
        })
        .collect();
    drawn(&grid, chance)
}

/// Rate of going dead and chance at once, by the starts on record.
fn starts(case: &Case, depot: &Depot, chance: &mut Chance) -> Vec<(f64, f64)> {
    let population = &case.population;
    let window = july(THIS_WINTER - 1);
    // Equal stands count together: days times factor, good and bad.
    let mut tests: BTreeMap<i32, (f64, f64, f64)> = BTreeMap::new();
    for machine in &depot.machines {
        let attempts = machine
            .attempts
            .iter()
            .filter(|one| one.day >= machine.since);
        let known = attempts.skip(usize::from(machine.imported));
        for one in known.filter(|one| one.day >= window && one.stood > 0) {
            let stood = one.factor * f64::from(one.stood);
            let test = tests
                .entry((stood * 10.0) as i32)
                .or_insert((stood, 0.0, 0.0));
            if one.started {
                test.1 += 1.0;
            } else {
                test.2 += 1.0;
            }
        }
    }
    let tests: Vec<(f64, f64, f64)> = tests.into_values().collect();
    let beta = population.dead_beta / depot.times;
    let middle = (population.dead_alpha / beta).ln();
    let (good, bad) = (
        population.at_once_weight * population.at_once,
        population.at_once_weight * (1.0 - population.at_once),
    );
    let mut grid = Vec::new();
    for step in 0..48 {
        let ln = middle + 5.0 / population.dead_alpha.sqrt() * (f64::from(step) / 24.0 - 1.0);
        let rate = ln.exp();
        for step in 0..30 {
            let at_once = 1.0 - 0.2 * (f64::from(step) + 0.5) / 30.0;
            let mut weight = population.dead_alpha * ln - beta * rate
                + (good - 1.0) * at_once.ln()
                + (bad - 1.0) * (1.0 - at_once).ln();
            for (stood, good, bad) in &tests {
                let starts = at_once * (-rate * stood).exp();
                weight += good * starts.ln() + bad * (-starts).ln_1p();
            }
            grid.push(((rate, at_once), weight));
        }
    }
    drawn(&grid, chance)
}
