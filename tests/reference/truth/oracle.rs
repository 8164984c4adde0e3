//! The forecaster to be held against: it has seen what the depots have noted, no more, and knows what they were drawn
//! from. Nothing here calls the rules.
//!
//! It knows the populations: how starts and rates of wear, readings, uses of machines and winters scatter, what machines'
//! lives and starts are drawn from by fleet, and whatever the truth has that the model does not (how wear speeds up, how
//! many batches are bad, which depot is). It does not know any machine's, part's or fleet's own figures: it has to infer
//! them from the same readings, lives and starts. Asked to, it knows the fleet's own rates too, which nobody can: how much
//! there is to be learned.

use rimeyard_rules::sheet::Clock;

use super::chance::Chance;
use super::depot::{Case, Depot};
use super::machine::{Machine, bent};
use super::sky::{Coming, Day};

mod belief;
mod rates;

use belief::{Belief, beliefs};
use rates::Rates;

/// Futures that chances are averaged over.
const FUTURES: usize = 120;
/// Times that each of them decides which machines work.
const DECIDED: usize = 8;
/// Winters to come where new ones come.
const NEW_WINTERS: usize = 30;

/// What it knows besides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Knows {
    /// What the fleet's rates were drawn from.
    Populations,
    /// The fleet's own rates of failing, going dead and breaking.
    Rates,
}

/// Its chances for a machine; of a part to last the storm, this season and the next.
#[derive(Debug, Clone)]
pub struct Foreseen {
    pub wear: Vec<[f64; 3]>,
    pub life: Vec<[f64; 3]>,
    pub starts: f64,
    pub fasteners: f64,
    pub works: f64,
}

/// Its chances for each machine of a depot, and that the depot keeps up.
pub fn foresee(case: &Case, depot: &Depot, ends: [Day; 2], knows: Knows) -> (Vec<Foreseen>, f64) {
    let mut chance = depot.after.clone().aside();
    let rates = Rates::draw(case, depot, knows, &mut chance);
    let counts = days_to_come(depot, ends, &mut chance);
    let mut works = vec![vec![0.0; depot.machines.len()]; FUTURES];
    let machines = depot.machines.iter().enumerate().map(|(number, machine)| {
        let futures = Futures::draw(case, depot, machine, &counts, &mut chance);
        let mut foreseen = Foreseen::none(case.population.parts.len());
        let each = of_machine(case, depot, machine, &futures, &rates, ends);
        for (works, one) in works.iter_mut().zip(each) {
            works[number] = one.works;
            foreseen.add(&one);
        }
        foreseen
    });
    let machines: Vec<Foreseen> = machines.collect();
    let kept_up = kept_up(depot, &works, &mut chance);
    (machines, kept_up)
}

/// Snow days to come: before the storm, after it in this season, and in the next.
type Days = [f64; 3];

fn days_to_come(depot: &Depot, [this, next]: [Day; 2], chance: &mut Chance) -> Vec<Days> {
    let sky = &depot.sky;
    let scenarios: Vec<Vec<Day>> = match sky.coming {
        Coming::OnRecord => (0..sky.record.len())
            .map(|which| sky.scenario(which))
            .collect(),
        Coming::New => (0..NEW_WINTERS).map(|_| sky.expected(chance)).collect(),
    };
    let storm = depot.storm_day();
    let count = scenarios.iter().map(|days| {
        let between = |from: Day, to: Day| {
            let days = days.iter().filter(|day| **day > from && **day <= to);
            days.count() as f64
        };
        [
            between(sky.today, storm - 1),
            between(storm, this),
            between(this, next),
        ]
    });
    count.collect()
}

/// Hours to come of one machine, draw by draw.
struct Futures {
    /// Since its last meter reading; until the storm; in the rest of this season; in the next.
    hours: Vec<[f64; 4]>,
    base_hours: f64,
}

impl Futures {
    fn draw(
        case: &Case,
        depot: &Depot,
        machine: &Machine,
        counts: &[Days],
        chance: &mut Chance,
    ) -> Self {
        let population = &case.population;
        let sky = &depot.sky;
        let (first, last) = (machine.meter[0], machine.meter[machine.meter.len() - 1]);
        let shape = population.use_shape;
        let seen = sky.snow_days(first.0 + 1, last.0) as f64;
        let since = sky.snow_days(last.0 + 1, sky.today) as f64;
        let hours = (0..FUTURES).map(|future| {
            let theta = chance.gamma(
                shape * (population.use_days + seen) + 1.0,
                population.use_days * population.use_hours + last.1 - first.1,
            );
            let [before, season, next] = counts[future % counts.len()];
            let mut run = |days: f64| chance.gamma(shape * days, theta);
            [run(since), run(before), run(season), run(next)]
        });
        Futures {
            hours: hours.collect(),
            base_hours: last.1,
        }
    }
}

/// A machine's chances in each future.
fn of_machine(
    case: &Case,
    depot: &Depot,
    machine: &Machine,
    futures: &Futures,
    rates: &Rates,
    season_ends: [Day; 2],
) -> Vec<Foreseen> {
    let population = &case.population;
    let storm = depot.storm_hours;
    let stood = f64::from(depot.storm_day() - machine.last_run);
    let worn: Vec<Vec<(f64, Belief)>> = population
        .parts
        .iter()
        .enumerate()
        .map(|(place, figures)| match &figures.wear {
            Some(wear) => beliefs(case, depot, machine, machine.part(place), wear),
            None => Vec::new(),
        })
        .collect();
    let of_future = futures.hours.iter().enumerate().map(|(future, hours)| {
        let [since, before, season, next] = *hours;
        let now = futures.base_hours + since;
        let start = now + before;
        let ends = [
            start + storm,
            start + storm + season,
            start + storm + season + next,
        ];
        let (dead, at_once) = rates.start[future];
        let starts = at_once * (-dead * machine.factor * stood).exp();
        let fasteners = at_most(rates.breaks[future] * storm, machine.spares);
        let mut one = Foreseen {
            wear: Vec::with_capacity(population.parts.len()),
            life: Vec::with_capacity(population.parts.len()),
            starts,
            fasteners,
            works: starts * fasteners,
        };
        for (place, figures) in population.parts.iter().enumerate() {
            let part = machine.part(place);
            let wear = match &figures.wear {
                None => [1.0; 3],
                Some(wear) => ends.map(|hours| {
                    let old = bent(hours - part.hours, case.twist.bend, wear.usual_hours());
                    let over = |belief: &Belief| belief.over(-wear.way * wear.limit, old);
                    worn[place]
                        .iter()
                        .map(|(weight, belief)| weight * over(belief))
                        .sum()
                }),
            };
            if figures.stops && figures.wear.as_ref().is_some_and(|wear| wear.fails) {
                one.works *= wear[0];
            }
            let rate = rates.life[machine.model][place][future];
            let life = match &figures.life {
                None => [1.0; 3],
                Some(life) => {
                    let lasts = |from: f64, to: f64| {
                        (-rate * (to.powf(life.shape) - from.max(0.0).powf(life.shape))).exp()
                    };
                    match life.clock {
                        Clock::Hours => {
                            let age = |hours: f64| (hours - part.hours).max(0.0);
                            [
                                lasts(age(start), age(ends[0])),
                                lasts(age(now), age(ends[1])),
                                lasts(age(now), age(ends[2])),
                            ]
                        }
                        Clock::Days => {
                            let age = |day: Day| f64::from(day - part.day);
                            let ends = [
                                age(depot.storm_day()) + 0.5,
                                age(season_ends[0]),
                                age(season_ends[1]),
                            ];
                            let sound = age(part.sound);
                            ends.map(|end| lasts(sound, end.max(sound)))
                        }
                    }
                }
            };
            if figures.stops {
                one.works *= life[0];
            }
            one.wear.push(wear);
            one.life.push(life);
        }
        one
    });
    of_future.collect()
}

impl Foreseen {
    /// Nothing yet.
    fn none(parts: usize) -> Self {
        Foreseen {
            wear: vec![[0.0; 3]; parts],
            life: vec![[0.0; 3]; parts],
            starts: 0.0,
            fasteners: 0.0,
            works: 0.0,
        }
    }

    /// Adds the share of one future.
    fn add(&mut self, one: &Foreseen) {
        let share = 1.0 / FUTURES as f64;
        for (sums, ones) in [(&mut self.wear, &one.wear), (&mut self.life, &one.life)] {
            for (sum, one) in sums.iter_mut().flatten().zip(ones.iter().flatten()) {
                *sum += share * one;
            }
        }
        self.starts += share * one.starts;
        self.fasteners += share * one.fasteners;
        self.works += share * one.works;
    }
}

/// P(a Poisson number of this mean is at most `most`).
fn at_most(mean: f64, most: u32) -> f64 {
    let mut term = (-mean).exp();
    let mut sum = term;
    for count in 1..=most {
        term *= mean / f64::from(count);
        sum += term;
    }
    sum
}

/// The chance that a depot keeps up, where each future has its own chances of the machines.
fn kept_up(depot: &Depot, works: &[Vec<f64>], chance: &mut Chance) -> f64 {
    let models: Vec<usize> = depot.machines.iter().map(|machine| machine.model).collect();
    // It depends on how many of each model work.
    let all = [0, 1].map(|model| models.iter().filter(|one| **one == model).count());
    let enough: Vec<Vec<bool>> = (0..=all[0])
        .map(|wide| {
            let working = |narrow| (0..wide).map(|_| 0).chain((0..narrow).map(|_| 1));
            (0..=all[1])
                .map(|narrow| depot.ground.is_kept_up(working(narrow)))
                .collect()
        })
        .collect();
    let mut kept_up = 0;
    for chances in works {
        for _ in 0..DECIDED {
            let mut working = [0, 0];
            for (model, works) in models.iter().zip(chances) {
                working[*model] += usize::from(chance.happens(*works));
            }
            kept_up += usize::from(enough[working[0]][working[1]]);
        }
    }
    kept_up as f64 / (works.len() * DECIDED) as f64
}
