//! Shares the minutes out among depots: of each depot's choices one, of all together the most gain (a knapsack with choices).
//!
//! Depot by depot, for each number of minutes spent so far the most gain. Nothing is rounded: each state keeps its own
//! minutes. Only where there are too many states is one kept for each step of minutes, a 4,096th of all: 5 minutes of 340
//! hours. First a plan is found by gain a minute over the upper hulls of the choices, which is best but for its last
//! choice; its rate of gain bounds what any state can still come to, and what cannot come to more than that plan is
//! dropped (Lagrangian bound; Kellerer, Pferschy & Pisinger, Knapsack Problems, 2004, chapter 11).

use super::place::Worth;
use super::{SAME, Ticks};

/// States between two depots at most.
const STATES_MAX: usize = 4_096;

/// States of all depots together at most; with more depots each has fewer.
const TABLE_MAX: usize = 4_000_000;

/// Pairs of a state and a choice at most.
const PAIRS_MAX: usize = 100_000_000;

/// Which of its choices, by rising minutes and gain, each depot has; at most `at_hand` is spent.
pub(super) fn join(choices: &[&[Worth]], at_hand: Ticks) -> Vec<usize> {
    let (greedy, rate) = by_hulls(choices, at_hand);
    let gain_of = |chosen: &[usize]| -> f64 {
        (choices.iter().zip(chosen))
            .map(|(choices, place)| choices[*place].gain)
            .sum()
    };
    let known = gain_of(&greedy);
    // What choices are worth over what their minutes would bring elsewhere, at most, from each depot on.
    let mut ahead = vec![0.0; choices.len() + 1];
    for (place, of_depot) in choices.iter().enumerate().rev() {
        let worth = |choice: &Worth| choice.gain - rate * choice.ticks as f64;
        ahead[place] =
            ahead[place + 1] + of_depot.iter().map(worth).fold(f64::NEG_INFINITY, f64::max);
    }
    let all: usize = choices.iter().map(|of_place| of_place.len()).sum();
    let states_max = STATES_MAX
        .min(TABLE_MAX / choices.len().max(1))
        .min(PAIRS_MAX / all.max(1))
        .max(16);
    let least = known * (1.0 - SAME);
    let mut table: Vec<Vec<State>> = vec![vec![State::default()]];
    for (depot, of_depot) in choices.iter().enumerate() {
        let before = table.last().expect("it began with one");
        let can_be_best = |state: &State| {
            let left = (at_hand - state.ticks) as f64;
            state.gain + rate * left + ahead[depot + 1] >= least
        };
        let mut states: Vec<State> = Vec::new();
        for (place, choice) in of_depot.iter().enumerate() {
            let with = before.iter().enumerate().filter_map(|(parent, state)| {
                let ticks = state
                    .ticks
                    .checked_add(choice.ticks)
                    .filter(|ticks| *ticks <= at_hand)?;
                let state = State {
                    ticks,
                    gain: state.gain + choice.gain,
                    parent: parent as u32,
                    choice: place as u32,
                };
                can_be_best(&state).then_some(state)
            });
            states = merged(&states, with);
            if states.len() > 2 * states_max {
                thin(&mut states, states_max);
            }
        }
        thin(&mut states, states_max);
        table.push(states);
    }
    let last = table.last().and_then(|states| states.last());
    let Some(mut state) = last.filter(|state| state.gain > known * (1.0 + SAME)) else {
        return greedy;
    };
    let mut chosen = vec![0; choices.len()];
    for (depot, states) in table[..choices.len()].iter().enumerate().rev() {
        chosen[depot] = state.choice as usize;
        state = &states[state.parent as usize];
    }
    chosen
}

/// Leaves at most `most` of states that stand by rising minutes and gain: of each step of minutes the last.
fn thin(states: &mut Vec<State>, most: usize) {
    let [first, .., last] = states[..] else {
        return;
    };
    if states.len() <= most {
        return;
    }
    // The first has a step of its own: it is the start.
    let width = (last.ticks - first.ticks)
        .div_ceil(most as Ticks - 1)
        .max(1);
    let step = |state: &State| (state.ticks - first.ticks).div_ceil(width);
    *states = (states.chunk_by(|one, other| step(one) == step(other)))
        .filter_map(|alike| alike.last().copied())
        .collect();
}

/// Some minutes spent.
#[derive(Debug, Clone, Copy, Default)]
struct State {
    ticks: Ticks,
    gain: f64,
    /// The state before this depot, and the choice that led on.
    parent: u32,
    choice: u32,
}

/// Both, each by rising minutes and gain, without what brings no more than what takes no longer.
fn merged(one: &[State], other: impl Iterator<Item = State>) -> Vec<State> {
    let mut merged: Vec<State> = Vec::with_capacity(one.len());
    let mut add = |state: &State| {
        if merged.last().is_none_or(|last| state.gain > last.gain) {
            // Of the same minutes the better one is left.
            if merged.last().is_some_and(|last| last.ticks == state.ticks) {
                merged.pop();
            }
            merged.push(*state);
        }
    };
    let mut one = one.iter().peekable();
    for state in other {
        while let Some(earlier) = one.next_if(|earlier| earlier.ticks <= state.ticks) {
            add(earlier);
        }
        add(&state);
    }
    one.for_each(add);
    merged
}

/// A plan by gain a minute, over the upper hull of each depot's choices: the steps of all hulls, steepest first, as long as
/// they fit; and the rate of gain a minute of the first that does not, 0 if all do.
fn by_hulls(choices: &[&[Worth]], at_hand: Ticks) -> (Vec<usize>, f64) {
    let mut steps: Vec<(f64, usize, usize)> = Vec::new();
    let mut chosen = vec![0; choices.len()];
    for (depot, of_depot) in choices.iter().enumerate() {
        let rate = |from: usize, to: usize| {
            let (from, to) = (&of_depot[from], &of_depot[to]);
            (to.gain - from.gain) / (to.ticks - from.ticks) as f64
        };
        let mut hull: Vec<usize> = Vec::new();
        for place in 0..of_depot.len() {
            while let [.., before, last] = hull[..] {
                if rate(before, last) > rate(last, place) {
                    break;
                }
                hull.pop();
            }
            hull.push(place);
        }
        steps.extend(
            hull.windows(2)
                .map(|ends| (rate(ends[0], ends[1]), depot, ends[1])),
        );
    }
    // Steps of one hull are less and less steep, so they stay in their order.
    steps.sort_by(|one, other| other.0.total_cmp(&one.0).then(one.1.cmp(&other.1)));
    let mut left = at_hand;
    let mut rate_left = None;
    let mut stopped = vec![false; choices.len()];
    for (rate, depot, place) in steps {
        let ticks = choices[depot][place].ticks - choices[depot][chosen[depot]].ticks;
        if stopped[depot] || ticks > left {
            rate_left.get_or_insert(rate);
            stopped[depot] = true;
            continue;
        }
        left -= ticks;
        chosen[depot] = place;
    }
    (chosen, rate_left.unwrap_or(0.0))
}
