//! A depot's ground, and whether machines keep up with a storm on it: by clearing it, job by job.

use super::chance::Chance;
use super::machine::Machine;

/// Snow of any storm here: how long it falls, and how often all ground is to be cleared.
pub const STORM_HOURS: f64 = 12.0;
const CYCLES: usize = 5;

/// Rates of the two models, m2/h: width, less the overlap, times speed and share of the time at work.
pub const RATE: [f64; 2] = [
    0.8 * (1.0 - 0.2) * 2500.0 * 0.8,
    0.6 * (1.0 - 0.2) * 2500.0 * 0.8,
];
/// Ground to be cleared within a time of each cycle's snow.
#[derive(Debug, Clone, Copy)]
pub struct Clearing {
    pub area: f64,
    pub within_h: f64,
}

/// A depot's ground and people.
#[derive(Debug, Clone)]
pub struct Ground {
    pub duties: [Clearing; 2],
    pub operators: usize,
}

impl Ground {
    /// Ground that wants from a third to nearly all of the machines.
    pub fn draw(machines: &[Machine], chance: &mut Chance) -> Self {
        let all: f64 = machines.iter().map(|machine| RATE[machine.model]).sum();
        let (needed, split) = (all * (0.3 + 0.6 * chance.share()), chance.share());
        let duties = |area: f64| {
            [
                Clearing {
                    area: area * split,
                    within_h: 2.0,
                },
                Clearing {
                    area: area * (1.0 - split),
                    within_h: 4.0,
                },
            ]
        };
        // As much as can just be kept up with at the rate needed.
        let (mut low, mut high) = (0.0, 4.0 * STORM_HOURS * needed);
        for _ in 0..50 {
            let middle = 0.5 * (low + high);
            if keeps_up(&duties(middle), needed) {
                low = middle;
            } else {
                high = middle;
            }
        }
        Ground {
            duties: duties(low),
            operators: machines.len() - usize::from(chance.happens(0.4)),
        }
    }

    /// How long the machines run: until the best of them, as many as can be driven, have done all of it, at most until the
    /// last of it is owed.
    pub fn storm_hours(&self, machines: &[Machine]) -> f64 {
        let area: f64 = self.duties.iter().map(|duty| duty.area).sum();
        let together = self.best(machines.iter().map(|machine| RATE[machine.model]).collect());
        (STORM_HOURS + 4.0).min(CYCLES as f64 * area / together)
    }

    fn best(&self, mut rates: Vec<f64>) -> f64 {
        rates.sort_by(|left, right| right.total_cmp(left));
        rates.iter().take(self.operators).sum()
    }

    /// Whether those machines that work keep up with the storm.
    pub fn is_kept_up(&self, working: impl Iterator<Item = usize>) -> bool {
        let rate = self.best(working.map(|model| RATE[model]).collect());
        // What is wanted was made with a rate that is no machine's: a hair decides nothing.
        keeps_up(&self.duties, rate * (1.0 + 1e-9))
    }
}

/// Clears, what is owed first before the rest, and sees whether all of it is done in time.
fn keeps_up(duties: &[Clearing], rate: f64) -> bool {
    let between = STORM_HOURS / CYCLES as f64;
    let mut jobs: Vec<(f64, f64, f64)> = (0..CYCLES)
        .flat_map(|cycle| {
            let snows = cycle as f64 * between;
            duties
                .iter()
                .map(move |duty| (snows, snows + duty.within_h, duty.area))
        })
        .collect();
    jobs.sort_by(|left, right| left.1.total_cmp(&right.1));
    let mut now = 0.0;
    loop {
        let Some(job) = jobs.iter().position(|job| job.2 > 0.0 && job.0 <= now) else {
            let next = jobs.iter().filter(|job| job.2 > 0.0).map(|job| job.0);
            match next.min_by(f64::total_cmp) {
                Some(next) => now = next,
                None => return true,
            }
            continue;
        };
        let next = jobs.iter().map(|job| job.0).filter(|snows| *snows > now);
        let next = next.fold(f64::INFINITY, f64::min);
        let done_at = if rate > 0.0 {
            now + jobs[job].2 / rate
        } else {
            f64::INFINITY
        };
        if done_at <= next {
            if done_at > jobs[job].1 + 1e-9 {
                return false;
            }
            (now, jobs[job].2) = (done_at, 0.0);
        } else {
            jobs[job].2 -= rate * (next - now);
            if next.is_infinite() || next > jobs[job].1 {
                return false;
            }
            now = next;
        }
    }
}
