//! What can be had at a depot: for each number of minutes the best that is known.

use super::yard::Yard;
use super::{SAME, Ticks};

/// Choices of a depot at most: one for each step of minutes.
pub(super) const CHOICES_MAX: Ticks = 2_048;

/// Some tasks of a depot, done together.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Choice {
    /// Minutes with travel, in thousandths.
    pub(super) ticks: Ticks,
    /// What they bring: the rise of the depot's chance times its weight.
    pub(super) gain: f64,
    /// The tasks, by place in the yard's.
    pub(super) tasks: Vec<u32>,
}

/// A window: tasks of which every subset is looked at, beside others that are done in any case.
#[derive(Debug, Clone)]
pub(super) struct Window {
    /// Done in any case, by place in the yard's tasks.
    pub(super) done: Vec<bool>,
    /// Done or not, at most 32, rising.
    pub(super) open: Vec<usize>,
}

impl Window {
    /// Those of its tasks that are done, with the open ones whose bits are set.
    fn tasks(&self, bits: u32) -> Vec<u32> {
        let mut done = self.done.clone();
        for (bit, task) in self.open.iter().enumerate() {
            done[*task] = bits >> bit & 1 == 1;
        }
        (0..done.len() as u32)
            .filter(|task| done[*task as usize])
            .collect()
    }
}

/// The best subset for each step of minutes, as windows are looked at.
pub(super) struct Best {
    /// A step, in thousandths.
    width: Ticks,
    /// Minutes at most, travel not counted.
    pub(super) most: Ticks,
    windows: Vec<Window>,
    steps: Vec<Option<Found>>,
}

/// Some subset of a window.
#[derive(Debug, Clone, Copy)]
struct Found {
    ticks: Ticks,
    chance: f64,
    window: usize,
    bits: u32,
}

impl Best {
    pub(super) fn new(yard: &Yard, at_hand: Ticks) -> Self {
        let all: Ticks = yard.tasks.iter().map(|task| task.ticks).sum();
        let most = all.min(at_hand - yard.travel);
        let width = most / CHOICES_MAX + 1;
        Best {
            width,
            most,
            windows: Vec::new(),
            steps: vec![None; (most / width) as usize + 1],
        }
    }

    /// From here on subsets of this window are offered.
    pub(super) fn open(&mut self, window: Window) {
        self.windows.push(window);
    }

    /// A subset that takes at most [`Best::most`], travel not counted. Kept if it is the best of its step: the
    /// depot's chance with it is the highest, or as high in fewer minutes, or it has fewer tasks, or lesser ids.
    pub(super) fn offer(&mut self, yard: &Yard, ticks: Ticks, chance: f64, bits: u32) {
        let window = self.windows.len() - 1;
        let step = (ticks / self.width) as usize;
        let found = Found {
            ticks,
            chance,
            window,
            bits,
        };
        if let Some(known) = self.steps[step] {
            let better = if (chance - known.chance).abs() > SAME {
                chance > known.chance
            } else if ticks != known.ticks {
                ticks < known.ticks
            } else {
                self.rank(yard, &found) < self.rank(yard, &known)
            };
            if !better {
                return;
            }
        }
        self.steps[step] = Some(found);
    }

    /// How many tasks, and which: what decides between equals.
    fn rank<'a>(&self, yard: &Yard<'a>, found: &Found) -> (usize, Vec<&'a super::JobId>) {
        let tasks = self.windows[found.window].tasks(found.bits);
        let ids = yard.ids(tasks.iter().map(|task| *task as usize));
        (ids.len(), ids)
    }

    /// By rising minutes and rising gain, nothing done first: only what brings more than all that takes no longer.
    pub(super) fn choices(&self, yard: &Yard, before: f64) -> Vec<Choice> {
        let mut best = vec![Choice {
            ticks: 0,
            gain: 0.0,
            tasks: Vec::new(),
        }];
        let mut most = before;
        for found in self.steps.iter().flatten() {
            if found.chance <= most + SAME {
                continue;
            }
            most = found.chance;
            let choice = Choice {
                ticks: yard.travel + found.ticks,
                gain: yard.weight * (found.chance - before),
                tasks: self.windows[found.window].tasks(found.bits),
            };
            // What takes no time at all is done in any case.
            if choice.ticks == 0 {
                best.clear();
            }
            best.push(choice);
        }
        best
    }
}
