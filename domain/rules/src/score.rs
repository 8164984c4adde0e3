//! A depot's chance of keeping up with a storm (section 8 of the computation), by exact dynamic programming.
//!
//! Whoever works is a matter of chance; the best of those who work go out, as many as there are operators. Units are
//! taken fastest first, so those who go out are the first ones that work: a state is how many run and their summed
//! rate, and only states that differ are kept. Like machines make few of them, so rates need not lie on a grid. Rates are
//! counted in any one unit: m2/h, or kg/h of material.

mod lattice;

pub(crate) use lattice::{Lattice, met};

/// One machine's part in a score.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitChance {
    /// P(it works through the storm), 0 to 1.
    pub works: f64,
    /// Its rate, at least 0.
    pub rate: f64,
}

/// A depot's chance of keeping up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Score {
    /// 100 x P(summed rate of those who go out >= needed rate), 0 to 100; the lower bound where bounds differ.
    pub score: f64,
    /// Lower bound of that chance.
    pub at_least: f64,
    /// Upper bound; equal to the lower one unless there were too many states and rates were rounded.
    pub at_most: f64,
    /// Expected shortfall E max(0, needed rate - summed rate); from the rates rounded down where bounds differ.
    pub shortfall: f64,
}

/// How long clearing takes with those who go out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoursToClear {
    /// Hours, summed over the outcomes in which anything runs, each times its chance. Over [`HoursToClear::runs`] they
    /// are the hours to expect if anything runs.
    pub hours: f64,
    /// P(anything runs): without, no time is enough.
    pub runs: f64,
}

/// States at most; with more, rates are rounded to a coarser grid. Of 60 machines and two dozen operators against all that
/// they can bring, rates in whole tens need some 70,000; rounded, such a score can come out many points too low.
const STATES_MAX: usize = 100_000;

/// States times units at most.
const STEPS_MAX: usize = 40_000_000;

/// The score of `units` against `needed_rate`, in their rates' unit; at most `operators` of those that work go out, all if `None`.
///
/// Nothing needed is 100; no units against a need are 0.
pub fn depot_score(units: &[UnitChance], needed_rate: f64, operators: Option<u32>) -> Score {
    let rates: Vec<f64> = units.iter().map(|unit| unit.rate).collect();
    let works: Vec<[f64; 1]> = units.iter().map(|unit| [unit.works]).collect();
    let [score] = depot_scores(&rates, &works, needed_rate, operators);
    score
}

/// As [`depot_score`], for N sets of chances at once: `works[i][n]` is the chance of unit i in set n. Units share the
/// doubt about their kind's start rate; the sets are the nodes it is averaged over, and share all but their chances.
pub fn depot_scores<const N: usize>(
    rates: &[f64],
    works: &[[f64; N]],
    needed_rate: f64,
    operators: Option<u32>,
) -> [Score; N] {
    scores(rates, works, needed_rate, operators, STATES_MAX)
}

/// [`depot_scores`] with at most `states_max` states.
fn scores<const N: usize>(
    rates: &[f64],
    works: &[[f64; N]],
    needed_rate: f64,
    operators: Option<u32>,
    states_max: usize,
) -> [Score; N] {
    let fleet = Fleet::new(rates, works, operators, states_max);
    let states_max = fleet.states_max;
    if let Some(outcome) = fleet.outcome(needed_rate, |rate| rate, states_max) {
        return std::array::from_fn(|n| outcome.score(n, outcome.enough[n]));
    }
    let grid = fleet.grid(needed_rate);
    let down = fleet.on_grid(needed_rate, |rate| rounded_down(rate, grid));
    let up = fleet.on_grid(needed_rate, |rate| (rate / grid - 1e-9).ceil() * grid);
    std::array::from_fn(|n| down.score(n, up.enough[n].max(down.enough[n])))
}

/// The time that clearing takes at the summed rate of those who go out, `hours`(rate), over all outcomes, for N
/// sets of chances as in [`depot_scores`].
pub fn hours_to_clear<const N: usize>(
    rates: &[f64],
    works: &[[f64; N]],
    operators: Option<u32>,
    hours: impl Fn(f64) -> f64,
) -> [HoursToClear; N] {
    let fleet = Fleet::new(rates, works, operators, STATES_MAX);
    let outcome = fleet
        .outcome(f64::INFINITY, |rate| rate, fleet.states_max)
        .unwrap_or_else(|| {
            let grid = fleet.grid(rates.iter().sum());
            // To the nearest, but nothing that runs to a standstill.
            fleet.on_grid(f64::INFINITY, |rate| match (rate / grid).round() {
                steps if steps >= 1.0 || rate <= 0.0 => steps * grid,
                _ => grid,
            })
        });
    let mut sums = [HoursToClear {
        hours: 0.0,
        runs: 0.0,
    }; N];
    for state in outcome.short.iter().filter(|state| state.rate > 0.0) {
        let hours = hours(state.rate);
        for (sum, chance) in sums.iter_mut().zip(&state.chance) {
            sum.runs += chance;
            sum.hours += chance * hours;
        }
    }
    sums
}

/// One distinct outcome so far, and its chance in each set.
#[derive(Debug, Clone, Copy)]
struct State<const N: usize> {
    running: u32,
    rate: f64,
    chance: [f64; N],
}

/// Where a fleet ends up.
struct Outcome<const N: usize> {
    needed_rate: f64,
    enough: [f64; N],
    short: Vec<State<N>>,
}

impl<const N: usize> Outcome<N> {
    fn score(&self, n: usize, at_most: f64) -> Score {
        let at_least = self.enough[n].clamp(0.0, 1.0);
        let shortfall = self
            .short
            .iter()
            .map(|state| state.chance[n] * (self.needed_rate - state.rate))
            .sum();
        Score {
            score: 100.0 * at_least,
            at_least,
            at_most: at_most.clamp(0.0, 1.0),
            shortfall,
        }
    }
}

/// Units fastest first.
struct Fleet<const N: usize> {
    units: Vec<(f64, [f64; N])>,
    /// How many may run; `None` where all may, and then how many run is no part of a state.
    operators: Option<u32>,
    states_max: usize,
    /// What a grid is made of: tens where all rates are whole tens, so that they stay exact on it; else quarters.
    quantum: f64,
}

impl<const N: usize> Fleet<N> {
    fn new(rates: &[f64], works: &[[f64; N]], operators: Option<u32>, states_max: usize) -> Self {
        let mut units: Vec<(f64, [f64; N])> =
            rates.iter().copied().zip(works.iter().copied()).collect();
        units.sort_unstable_by(|left, right| right.0.total_cmp(&left.0));
        let operators = operators.filter(|most| (*most as usize) < units.len());
        // A very large fleet gets fewer states, so that no answer takes seconds.
        let states_max = states_max.min(STEPS_MAX / units.len().max(1));
        let tens = rates.iter().all(|rate| rate % 10.0 == 0.0);
        Fleet {
            units,
            operators,
            states_max,
            quantum: if tens { 10.0 } else { 0.25 },
        }
    }

    /// A grid in whole quanta with some `states_max` states under `needed_rate`, though at least one a row.
    fn grid(&self, needed_rate: f64) -> f64 {
        let rows = self.operators.map_or(1, |most| most as usize + 1);
        let columns = (self.states_max / rows).saturating_sub(2).max(1);
        (needed_rate / columns as f64 / self.quantum)
            .ceil()
            .max(1.0)
            * self.quantum
    }

    /// Where the units end up with rates rounded to a grid.
    fn on_grid(&self, needed_rate: f64, round: impl Fn(f64) -> f64) -> Outcome<N> {
        self.outcome(needed_rate, round, usize::MAX)
            .expect("no limit on states")
    }

    /// Where the units end up with rates rounded by `round`; `None` with more than `states_max` states.
    fn outcome(
        &self,
        needed_rate: f64,
        round: impl Fn(f64) -> f64,
        states_max: usize,
    ) -> Option<Outcome<N>> {
        let bar = bar(needed_rate);
        let mut enough = [0.0; N];
        let mut states: Vec<State<N>> = Vec::new();
        let mut next: Vec<State<N>> = Vec::new();
        let start = State {
            running: 0,
            rate: 0.0,
            chance: [1.0; N],
        };
        if needed_rate <= 0.0 {
            enough = [1.0; N];
        } else {
            states.push(start);
        }
        for (rate, works) in &self.units {
            let rate = round(*rate);
            next.clear();
            // Both runs are sorted by (running, rate): the states as they are, and the same with this unit out.
            let most = self.operators.unwrap_or(u32::MAX);
            let counts = u32::from(self.operators.is_some());
            let mut stays = 0;
            for index in 0..states.len() {
                let state = states[index];
                if state.running >= most {
                    // Nobody is left to drive it.
                    break;
                }
                let key = (state.running + counts, state.rate + rate);
                while stays < states.len() && before(&states[stays], key) {
                    next.push(states[stays].stays(works, most));
                    stays += 1;
                }
                let moved: [f64; N] = std::array::from_fn(|n| state.chance[n] * works[n]);
                if key.1 >= bar {
                    add(&mut enough, &moved);
                    continue;
                }
                if stays < states.len()
                    && states[stays].running == key.0
                    && states[stays].rate == key.1
                {
                    let mut joined = states[stays].stays(works, most);
                    add(&mut joined.chance, &moved);
                    next.push(joined);
                    stays += 1;
                } else {
                    next.push(State {
                        running: key.0,
                        rate: key.1,
                        chance: moved,
                    });
                }
            }
            for state in &states[stays..] {
                next.push(state.stays(works, most));
            }
            if next.len() > states_max {
                return None;
            }
            std::mem::swap(&mut states, &mut next);
        }
        Some(Outcome {
            needed_rate,
            enough,
            short: states,
        })
    }
}

impl<const N: usize> State<N> {
    /// This state where the unit does not go out: it does not work, or nobody is left to drive it.
    fn stays(&self, works: &[f64; N], most: u32) -> Self {
        if self.running >= most {
            return *self;
        }
        State {
            chance: std::array::from_fn(|n| self.chance[n] * (1.0 - works[n])),
            ..*self
        }
    }
}

/// The sum that is enough: sums that are whole in tens differ from the need by rounding only.
fn bar(needed_rate: f64) -> f64 {
    needed_rate - 1e-8_f64.max(1e-12 * needed_rate)
}

fn rounded_down(rate: f64, grid: f64) -> f64 {
    (rate / grid + 1e-9).floor() * grid
}

fn add<const N: usize>(sums: &mut [f64; N], chances: &[f64; N]) {
    for (sum, chance) in sums.iter_mut().zip(chances) {
        *sum += chance;
    }
}

fn before<const N: usize>(state: &State<N>, key: (u32, f64)) -> bool {
    state.running < key.0 || (state.running == key.0 && state.rate < key.1)
}

#[cfg(test)]
mod tests;
