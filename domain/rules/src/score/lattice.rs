//! The states of a score laid out once, for many questions about the same machines.
//!
//! [`super::depot_score`] makes its states as it goes and forgets them. What to fix first asks thousands of times with
//! other chances but the same rates, so here the states stand in a row and each distinct rate knows which state follows
//! which. Two things are moved over them: a law (the chance of each state, machines taken so far) forwards, and a value
//! (the chance from each state on to be enough, machines still to come) backwards. A law met with a value is a chance.

use super::{Fleet, bar, before, rounded_down};

/// States at most. Fewer than [`super::depot_score`] has: what to fix first asks of each state for every machine, and wants the
/// order of its jobs, which a rounded score tells as well.
pub(super) const STATES_MAX: usize = 20_000;

/// Entries of the tables at most, states times distinct rates, so that they stay in tens of megabytes.
const ENTRIES_MAX: usize = 8_000_000;

/// The states of some machines short of a need, and as the last one that there is enough.
#[derive(Debug)]
pub(crate) struct Lattice {
    /// Distinct rates, rising.
    rates: Vec<f64>,
    /// For each of them, by state: where a machine of that rate leads that goes out. A state with nobody left to drive leads
    /// to itself.
    next: Vec<Vec<u32>>,
    /// How many states there are, "enough" not counted.
    states: usize,
    any_order: bool,
}

impl Lattice {
    /// Of machines with these rates, against a need, of which at most `operators` go out; rounded down to a
    /// grid, as [`super::depot_score`] does for its lower bound, where there are too many states.
    pub(crate) fn new(rates: &[f64], needed_rate: f64, operators: Option<u32>) -> Self {
        let mut distinct = rates.to_vec();
        distinct.sort_unstable_by(f64::total_cmp);
        distinct.dedup();
        let states_max = STATES_MAX.min(ENTRIES_MAX / distinct.len().max(1));
        let fleet = Fleet::new(rates, &vec![[]; rates.len()], operators, states_max);
        let exact = fleet.outcome(needed_rate, |rate| rate, fleet.states_max);
        let grid = exact.is_none().then(|| fleet.grid(needed_rate));
        let round = |rate| grid.map_or(rate, |grid| rounded_down(rate, grid));
        let states = exact
            .unwrap_or_else(|| fleet.on_grid(needed_rate, round))
            .short;
        let (most, counts) = match fleet.operators {
            Some(most) => (most, 1),
            None => (u32::MAX, 0),
        };
        let enough = states.len();
        // The same sum in another order of its parts differs in the last digits.
        let slack = 1e-9 * needed_rate;
        let lead = |rate: f64| -> Vec<u32> {
            let mut place = 0;
            let to = |(index, state): (usize, &super::State<0>)| {
                if state.running >= most {
                    return index as u32;
                }
                let sum = state.rate + rate;
                if sum >= bar(needed_rate) {
                    return enough as u32;
                }
                let running = state.running + counts;
                while place < enough && before(&states[place], (running, sum - slack)) {
                    place += 1;
                }
                // That there is none is so where more machines of the rate would be out than there are.
                match states.get(place) {
                    Some(found) if found.running == running && found.rate <= sum + slack => {
                        place as u32
                    }
                    _ => index as u32,
                }
            };
            states.iter().enumerate().map(to).collect()
        };
        Lattice {
            next: distinct.iter().map(|rate| lead(round(*rate))).collect(),
            rates: distinct,
            states: enough,
            any_order: fleet.operators.is_none(),
        }
    }

    /// Whether machines may be taken in any order. Else they are to be taken fastest first, since the fastest of those
    /// that work go out.
    pub(crate) fn any_order(&self) -> bool {
        self.any_order
    }

    /// What `rate`, one of those given, is called here.
    ///
    /// # Panics
    /// If no machine has it.
    pub(crate) fn kind(&self, rate: f64) -> usize {
        self.rates
            .binary_search_by(|known| known.total_cmp(&rate))
            .expect("a rate of these machines")
    }

    /// How many states there are, "enough" not counted.
    pub(crate) fn states(&self) -> usize {
        self.states
    }

    /// Where all begin: nothing runs. It is the only state, and enough, where nothing is needed.
    pub(crate) const START: usize = 0;

    /// Where a machine leads from `state` that goes out.
    pub(crate) fn follows(&self, kind: usize, state: usize) -> usize {
        self.next[kind]
            .get(state)
            .map_or(state, |next| *next as usize)
    }

    /// The law before the first machine.
    pub(crate) fn start(&self) -> Vec<f64> {
        let mut law = vec![0.0; self.states + 1];
        law[Self::START] = 1.0;
        law
    }

    /// The value after the last machine.
    pub(crate) fn end(&self) -> Vec<f64> {
        let mut value = vec![0.0; self.states + 1];
        value[self.states] = 1.0;
        value
    }

    /// The law after one machine more, that works with that chance.
    pub(crate) fn forward(&self, law: &mut [f64], kind: usize, works: f64) {
        // From the last: what follows a state stands behind it and is done with.
        for (state, next) in self.next[kind].iter().enumerate().rev() {
            let moved = law[state] * works;
            law[state] -= moved;
            law[*next as usize] += moved;
        }
    }

    /// The value before one machine more, that works with that chance.
    pub(crate) fn backward(&self, value: &mut [f64], kind: usize, works: f64) {
        // From the first: what follows a state stands behind it and is still as it was.
        for (state, next) in self.next[kind].iter().enumerate() {
            value[state] += works * (value[*next as usize] - value[state]);
        }
    }

    /// By how much a law changes by a machine that works for certain, over one that does not: no law itself, its sum is 0.
    pub(crate) fn shifted(&self, law: &[f64], kind: usize) -> Vec<f64> {
        let mut shift = vec![0.0; law.len()];
        for (state, next) in self.next[kind].iter().enumerate() {
            shift[state] -= law[state];
            shift[*next as usize] += law[state];
        }
        shift
    }

    /// By how much the value before a machine rises with its chance, where `value` is that after it.
    pub(crate) fn rise(&self, value: &[f64], kind: usize) -> Vec<f64> {
        let mut rise: Vec<f64> = self.next[kind]
            .iter()
            .zip(value)
            .map(|(next, here)| value[*next as usize] - here)
            .collect();
        rise.push(0.0);
        rise
    }
}

/// A law met with a value.
pub(crate) fn met(law: &[f64], value: &[f64]) -> f64 {
    // Four sums at once: one alone waits for each addition.
    let mut sums = [0.0; 4];
    let (laws, values) = (law.chunks_exact(4), value.chunks_exact(4));
    let rest: f64 = (laws.remainder().iter().zip(values.remainder()))
        .map(|(law, value)| law * value)
        .sum();
    for (law, value) in laws.zip(values) {
        for place in 0..4 {
            sums[place] += law[place] * value[place];
        }
    }
    sums.iter().sum::<f64>() + rest
}
