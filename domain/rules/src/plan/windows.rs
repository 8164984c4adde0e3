//! What to look at of a depot's tasks: all subsets where they are few; where they are many, all subsets of windows.
//!
//! A window lies on one of the two [`paths`]: what comes before it is done, what comes behind it is not, and of what is in it
//! every subset is looked at. Windows overlap by half, so that what belongs together is in one of them.

use super::choice::{Best, Choice, Window};
use super::paths::{self, Pace};
use super::work::{TooMuch, Work};
use super::yard::Yard;
use super::{Ticks, subsets};

/// Tasks of a window at most.
pub(super) const WINDOW_MAX: usize = 16;

/// Tasks of a window at least, whatever there is to do.
const WINDOW_MIN: usize = 4;

/// The choices worth having at a depot, by rising minutes and rising gain, nothing done first. Windows of up to `window_max`
/// tasks and bundles of up to three are as large as about `share` steps are enough for.
pub(super) fn choices(
    yard: &Yard,
    at_hand: Ticks,
    window_max: usize,
    share: u64,
    work: &mut Work,
) -> Result<Vec<Choice>, TooMuch> {
    let tasks = yard.tasks.len();
    // Half of the share for the paths.
    let of_windows = |size: &usize| {
        let steps = subsets::steps(yard, *size.min(&tasks));
        steps.saturating_mul(2 * windows_of(tasks, *size)) <= share / 2
    };
    let size = (WINDOW_MIN..=window_max)
        .rev()
        .find(of_windows)
        .unwrap_or(WINDOW_MIN);
    let mut best = Best::new(yard, at_hand);
    if tasks <= size {
        let window = Window {
            done: vec![false; tasks],
            open: (0..tasks).collect(),
        };
        subsets::offer(yard, window, &mut best, work)?;
    } else {
        let all: Vec<usize> = (0..tasks).collect();
        let pace = Pace::of(yard, &all, share / 4);
        let last = paths::backward(yard, pace, work)?;
        let mut first = paths::forward(yard, best.most, pace, work)?;
        // What showed no worth by itself comes behind, as the other path has it.
        let mut rest = vec![true; tasks];
        first.iter().for_each(|task| rest[*task] = false);
        first.extend(last.iter().copied().filter(|task| rest[*task]));
        for path in [first, last] {
            along(yard, &path, size, &mut best, work)?;
        }
    }
    Ok(best.choices(yard, yard.chance(|_| false)))
}

/// How many windows a path has.
fn windows_of(tasks: usize, size: usize) -> u64 {
    if tasks <= size {
        return 1;
    }
    1 + (tasks - size).div_ceil(size / 2) as u64
}

fn along(
    yard: &Yard,
    path: &[usize],
    size: usize,
    best: &mut Best,
    work: &mut Work,
) -> Result<(), TooMuch> {
    for number in 0..windows_of(path.len(), size) as usize {
        let from = (number * (size / 2)).min(path.len() - size);
        let mut done = vec![false; path.len()];
        let mut spent = 0;
        for task in &path[..from] {
            done[*task] = true;
            spent += yard.tasks[*task].ticks;
        }
        if spent > best.most {
            break;
        }
        let mut open = path[from..from + size].to_vec();
        open.sort_unstable();
        subsets::offer(yard, Window { done, open }, best, work)?;
    }
    Ok(())
}
