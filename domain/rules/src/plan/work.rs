//! How long a plan may take, counted in steps of computation: no clock is read, and the same is answered everywhere.

/// Steps at most: a second or two of one core, and once more to bring what was found into its order.
const STEPS_MAX: u64 = 2_000_000_000;

/// Numbers that one look at a depot may keep at a time, at most: 128 MB of them.
const HELD_MAX: u64 = 16_000_000;

/// A plan of these depots would take too long, or too much memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "are too many, or have too many machines and jobs, to be planned at once; plan some of the depots, or fewer jobs, at a time"
)]
pub struct TooMuch;

/// Steps that are left. One is something under a nanosecond.
#[derive(Debug)]
pub(super) struct Work {
    left: u64,
}

impl Work {
    pub(super) fn new() -> Self {
        Work { left: STEPS_MAX }
    }

    /// What one of so many that are still to come may take, so that all get theirs.
    pub(super) fn share(&self, among: usize) -> u64 {
        self.left / among.max(1) as u64
    }

    /// That so many numbers can be kept at a time.
    pub(super) fn hold(&self, numbers: u64) -> Result<(), TooMuch> {
        if numbers > HELD_MAX {
            return Err(TooMuch);
        }
        Ok(())
    }

    pub(super) fn spend(&mut self, steps: u64) -> Result<(), TooMuch> {
        self.left = self.left.checked_sub(steps).ok_or(TooMuch)?;
        Ok(())
    }
}
