//! What a bundle of tasks changes: read off a table of all subsets where tasks are few, worked out by [`slopes`] where not.

use super::Ticks;
use super::choice::Window;
use super::slopes::{self, BUNDLE_MAX};
use super::subsets;
use super::work::{TooMuch, Work};
use super::yard::Yard;

/// Tasks of a table at most.
const TABLE_MAX: usize = 12;

/// Where changes are taken from.
pub(super) enum Changes {
    Slopes,
    /// The depot's chance for each subset of these tasks, bit by bit, no other done.
    Table {
        tasks: Vec<usize>,
        chances: Vec<f64>,
    },
}

impl Changes {
    /// Among these of the yard's tasks, rising, all others not done: a table where it costs no more than `share` steps.
    pub(super) fn among(
        yard: &Yard,
        tasks: &[usize],
        share: u64,
        work: &mut Work,
    ) -> Result<Self, TooMuch> {
        if tasks.len() > TABLE_MAX || subsets::steps(yard, tasks.len()) > share {
            return Ok(Changes::Slopes);
        }
        let window = Window {
            done: vec![false; yard.tasks.len()],
            open: tasks.to_vec(),
        };
        let mut chances = vec![0.0; 1 << tasks.len()];
        subsets::each(yard, &window, Ticks::MAX, work, &mut |_, chance, bits| {
            chances[bits as usize] = chance;
        })?;
        let tasks = window.open;
        Ok(Changes::Table { tasks, chances })
    }

    /// As [`slopes::bundles`].
    pub(super) fn bundles(
        &self,
        yard: &Yard,
        done: &[bool],
        may: &[bool],
        size: usize,
        work: &mut Work,
        mut visit: impl FnMut(&[usize], f64, Ticks),
    ) -> Result<(), TooMuch> {
        let Changes::Table { tasks, chances } = self else {
            return slopes::bundles(yard, done, may, size, work, visit);
        };
        let bits = |flags: &[bool]| -> usize {
            (tasks.iter().enumerate())
                .map(|(bit, task)| usize::from(flags[*task]) << bit)
                .sum()
        };
        let (now, may) = (bits(done), bits(may));
        work.spend(chances.len() as u64)?;
        for toggled in 1..chances.len() {
            if toggled & !may != 0 || toggled.count_ones() as usize > size {
                continue;
            }
            let mut bundle = [0; BUNDLE_MAX];
            let mut count = 0;
            let mut ticks = 0;
            for (_, task) in tasks
                .iter()
                .enumerate()
                .filter(|(bit, _)| toggled >> bit & 1 == 1)
            {
                bundle[count] = *task;
                count += 1;
                ticks += yard.tasks[*task].ticks;
            }
            visit(
                &bundle[..count],
                chances[now ^ toggled] - chances[now],
                ticks,
            );
        }
        Ok(())
    }
}
