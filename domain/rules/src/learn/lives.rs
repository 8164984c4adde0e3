//! Lives of parts that are not measured, and of measured ones that break all of a sudden (section 5), from the order in
//! which parts were on a machine.

use crate::facts::FittedPartFacts;
use crate::life::learned::{LearnedLife, learn};
use crate::life::{FoundFailed, History};
use crate::season::day_number;
use crate::sheet::LifeSpec;
use crate::unit::Shared;
use crate::unit::clock::{Moment, UnitClock, is_new};
use jiff::Timestamp;

/// The lives of one part of a model, ended and running, where their beginning is known.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct PartLives {
    /// Sound when renewed, or now; or failed at a known age.
    pub dated: Vec<History>,
    /// Failed somewhere between two ages.
    pub found_failed: Vec<FoundFailed>,
}

impl PartLives {
    /// Adds those of the part at `place` on one unit.
    pub fn add(
        &mut self,
        place: usize,
        life: &LifeSpec,
        clock: &UnitClock<'_>,
        shared: &Shared<'_>,
    ) {
        let paths = clock.paths(place);
        let mut began: Option<&FittedPartFacts> = None;
        for (index, path) in paths.iter().enumerate() {
            if is_new(path) {
                began = Some(path);
            }
            let last_of_its_life = paths.get(index + 1).is_none_or(|next| is_new(next));
            if let (true, Some(began)) = (last_of_its_life, began) {
                self.add_one(life, began, path, clock, shared);
            }
        }
    }

    /// The life that began with the path `began` and ended with `path`, or has not ended.
    fn add_one(
        &mut self,
        life: &LifeSpec,
        began: &FittedPartFacts,
        path: &FittedPartFacts,
        clock: &UnitClock<'_>,
        shared: &Shared<'_>,
    ) {
        let age = |moment: Moment| clock.age(life, began, moment, shared);
        let age_at = |at: Timestamp| age(clock.moment(at, shared));
        let exit = match path.removed_at {
            Some(at) => {
                let removed = clock.moment(at, shared);
                let hours = clock.noted(at, path.removed_hours, shared);
                age(Moment { hours, ..removed })
            }
            None => clock.base().and_then(|base| {
                age(Moment {
                    day: day_number(shared.today),
                    ..base
                })
            }),
        };
        let Some(exit) = exit else { return };
        // Parts that failed before anything was kept of the machine left no trace: only what lasted until then is seen.
        let entry = clock.kept_since.and_then(age_at).unwrap_or(0.0).min(exit);
        let failed = path.removed_at.is_some() && path.failed == Some(true);
        let sound = path.sound_at.and_then(age_at);
        let sound = sound.unwrap_or(entry).clamp(entry, exit);
        if !failed {
            let history = History {
                entry,
                exit,
                failed,
            };
            self.dated.push(history);
        } else if sound < exit {
            self.found_failed.push(FoundFailed {
                entry,
                sound,
                found: exit,
            });
        } else if entry < exit {
            // Found sound and failed at one age of its clock: that is when.
            self.dated.push(History {
                entry,
                exit,
                failed,
            });
        }
        // What failed as the first thing that was kept of a machine teaches nothing.
    }

    /// What they teach, where the sheet says `figures`.
    pub fn teach(&self, figures: &LifeSpec) -> LearnedLife {
        learn(figures, &self.dated, &self.found_failed)
    }
}
