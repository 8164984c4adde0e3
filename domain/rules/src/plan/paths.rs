//! Two ways through a depot's tasks, bundle by bundle.
//!
//! From nothing done, the bundle of up to three with the most gain a minute is done, and from there the next; and from all
//! done, the bundle with the least loss a minute is undone, and from there the next. The first way finds what pays soonest,
//! the second what only pays together, however many belong together.

use std::cmp::Ordering;

use super::changes::Changes;
use super::slopes::{self, BUNDLE_MAX};
use super::work::{TooMuch, Work};
use super::yard::Yard;
use super::{SAME, Ticks};

/// How a path is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pace {
    /// Tasks of a bundle at most.
    pub(super) size: usize,
    /// How many bundles are taken before the next look; more than one only of single tasks.
    pub(super) at_once: usize,
}

impl Pace {
    /// The best pace through `tasks` that about `share` steps are enough for: bundles of three, of two, single tasks, several at
    /// once.
    pub(super) fn of(yard: &Yard, tasks: &[usize], share: u64) -> Self {
        let mut machines: Vec<usize> = tasks.iter().map(|task| yard.tasks[*task].machine).collect();
        machines.sort_unstable();
        machines.dedup();
        let steps = |size| slopes::steps(yard, tasks.len(), machines.len(), size);
        let rounds = tasks.len() as u64;
        // Of larger bundles, what is left gets less, to a third on average.
        let affordable = |size: &usize| steps(*size).saturating_mul(rounds) / 3 <= share;
        match (2..=BUNDLE_MAX).rev().find(affordable) {
            Some(size) => Pace { size, at_once: 1 },
            None => Pace {
                size: 1,
                at_once: rounds.div_ceil((share / steps(1).max(1)).max(1)) as usize,
            },
        }
    }
}

/// All tasks in the order in which they are best done, as far as bundles that fit into `most` show any worth.
pub(super) fn forward(
    yard: &Yard,
    most: Ticks,
    pace: Pace,
    work: &mut Work,
) -> Result<Vec<usize>, TooMuch> {
    let mut path = Vec::new();
    let mut done = vec![false; yard.tasks.len()];
    let mut spent = 0;
    loop {
        let may: Vec<bool> = done.iter().map(|done| !done).collect();
        // The way there is paid by what is done first.
        let travel = if path.is_empty() { yard.travel } else { 0 };
        let fits = |pick: &Pick| pick.change > SAME && spent + pick.ticks <= most;
        let next = best(
            yard,
            &Changes::Slopes,
            &done,
            &may,
            pace,
            travel,
            fits,
            work,
        )?;
        if next.is_empty() {
            return Ok(path);
        }
        for task in next {
            done[task] = true;
            spent += yard.tasks[task].ticks;
            path.push(task);
        }
    }
}

/// All tasks in the order in which they are best kept: the first is the last that is undone.
pub(super) fn backward(yard: &Yard, pace: Pace, work: &mut Work) -> Result<Vec<usize>, TooMuch> {
    let mut path = Vec::new();
    let mut done = vec![true; yard.tasks.len()];
    while path.len() < done.len() {
        for task in best(
            yard,
            &Changes::Slopes,
            &done,
            &done,
            pace,
            0,
            |_| true,
            work,
        )? {
            done[task] = false;
            path.push(task);
        }
    }
    path.reverse();
    Ok(path)
}

/// The tasks to toggle next, of those that may be: the best bundle that `fits`, or the best few.
#[expect(
    clippy::too_many_arguments,
    reason = "each says something else of one search"
)]
pub(super) fn best(
    yard: &Yard,
    changes: &Changes,
    done: &[bool],
    may: &[bool],
    pace: Pace,
    travel: Ticks,
    fits: impl Fn(&Pick) -> bool,
    work: &mut Work,
) -> Result<Vec<usize>, TooMuch> {
    let mut best: Vec<Pick> = Vec::new();
    changes.bundles(yard, done, may, pace.size, work, |tasks, change, ticks| {
        let mut bundle = [0; BUNDLE_MAX];
        bundle[..tasks.len()].copy_from_slice(tasks);
        let pick = Pick {
            bundle,
            size: tasks.len(),
            change,
            ticks,
            // In fewer digits, so that what differs by rounding is equal. No minutes at all count as the least there is.
            rate: (change / (travel + ticks).max(1) as f64) as f32,
        };
        let full = best.len() == pace.at_once;
        if !fits(&pick) || full && best.last().is_some_and(|last| !pick.before(last, yard)) {
            return;
        }
        best.truncate(pace.at_once - 1);
        let place = best.partition_point(|known| !pick.before(known, yard));
        best.insert(place, pick);
    })?;
    Ok(best.iter().flat_map(|pick| pick.tasks().to_vec()).collect())
}

/// A bundle.
pub(super) struct Pick {
    bundle: [usize; BUNDLE_MAX],
    size: usize,
    /// Of the depot's chance.
    pub(super) change: f64,
    pub(super) ticks: Ticks,
    /// Change a minute: more gain, or less loss.
    rate: f32,
}

impl Pick {
    pub(super) fn tasks(&self) -> &[usize] {
        &self.bundle[..self.size]
    }

    /// Whether it is better than another: more change a minute; of equals the smaller one, then the one with the least
    /// ids.
    fn before(&self, other: &Pick, yard: &Yard) -> bool {
        let ids = |pick: &Pick| yard.ids(pick.tasks().iter().copied());
        match self.rate.partial_cmp(&other.rate) {
            Some(Ordering::Equal) => {
                let size = self.size.cmp(&other.size);
                size.then_with(|| ids(self).cmp(&ids(other))).is_lt()
            }
            order => order == Some(Ordering::Greater),
        }
    }
}
