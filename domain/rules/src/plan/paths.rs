//! Two ways through a depot's tasks, bundle by bundle.
//!
//! From nothing done, the bundle of up to three with the most gain a minute is done, and from there the next; and from all
//! done, the bundle with the least loss a minute is undone, and from there the next. The first way finds what pays soonest,
//! the second what only pays together, however many belong together.

use std::cmp::Ordering;

use super::slopes::{self, BUNDLE_MAX};
use super::work::{TooMuch, Work};
use super::yard::Yard;
use super::{SAME, Ticks};

/// How many of `tasks` a bundle has: as many up to three as `share` steps are enough for along a path, at least one.
pub(super) fn size(yard: &Yard, tasks: &[usize], share: u64) -> usize {
    let mut machines: Vec<usize> = tasks.iter().map(|task| yard.tasks[*task].machine).collect();
    machines.dedup();
    (2..=BUNDLE_MAX)
        .rev()
        .find(|size| {
            let steps = slopes::steps(yard, tasks.len(), machines.len(), *size);
            // One bundle after another; what is left gets less, to a third on average.
            steps.saturating_mul(tasks.len() as u64) / 3 <= share
        })
        .unwrap_or(1)
}

/// All tasks in the order in which they are best done, as far as bundles of `size` that fit into `most` show any worth.
pub(super) fn forward(
    yard: &Yard,
    most: Ticks,
    size: usize,
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
        let Some(pick) = best(yard, &done, &may, size, travel, fits, work)? else {
            return Ok(path);
        };
        for task in pick.tasks() {
            done[*task] = true;
            spent += yard.tasks[*task].ticks;
            path.push(*task);
        }
    }
}

/// All tasks in the order in which they are best kept: the first is the last that is undone.
pub(super) fn backward(yard: &Yard, size: usize, work: &mut Work) -> Result<Vec<usize>, TooMuch> {
    let mut path = Vec::new();
    let mut done = vec![true; yard.tasks.len()];
    while let Some(pick) = best(yard, &done, &done, size, 0, |_| true, work)? {
        for task in pick.tasks() {
            done[*task] = false;
            path.push(*task);
        }
    }
    path.reverse();
    Ok(path)
}

/// The best bundle to toggle of those that may be and that `fits`.
pub(super) fn best(
    yard: &Yard,
    done: &[bool],
    may: &[bool],
    size: usize,
    travel: Ticks,
    fits: impl Fn(&Pick) -> bool,
    work: &mut Work,
) -> Result<Option<Pick>, TooMuch> {
    let mut best: Option<Pick> = None;
    slopes::bundles(yard, done, may, size, work, |tasks, change, ticks| {
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
        if fits(&pick) && best.as_ref().is_none_or(|best| pick.before(best, yard)) {
            best = Some(pick);
        }
    })?;
    Ok(best)
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
