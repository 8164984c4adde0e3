//! What the machines of one model in a depot have in common: its sheet, and what their own history has taught.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use super::Shared;
use super::clock::{Moment, UnitClock, is_new};
use crate::facts::FittedPartFacts;
use crate::hours::UsagePrior;
use crate::life::{FoundFailed, History, Life};
use crate::season::day_number;
use crate::sheet::{CheckSpec, LifeSpec, Measure, PartSpec, Sheet, WearSpec};
pub use crate::special::GAUSS_LEGENDRE;
use crate::start::{AT_ONCE_DAYS, StartRate, StartTest};

/// Doubt about a kind's start rate is averaged over so many Gauss-Legendre nodes.
pub const NODES: usize = 8;

/// The mean of something over the nodes of the shared doubt.
pub fn mean_over_nodes(values: &[f64; NODES]) -> f64 {
    GAUSS_LEGENDRE
        .iter()
        .zip(values)
        .map(|((_, weight), value)| weight * value)
        .sum()
}

/// A model in a depot.
#[derive(Debug, Clone)]
pub struct Model<'a> {
    /// Its sheet.
    pub sheet: &'a Sheet,
    /// How it starts after standing, the depot's own starts learned from.
    pub start: StartRate,
    /// The rate of going dead at each node: the same node for all models, since they share the doubt.
    pub dead_rates: [f64; NODES],
    /// Its parts, in the sheet's order.
    pub parts: Vec<PartModel<'a>>,
}

/// A part of a model.
#[derive(Debug, Clone)]
pub struct PartModel<'a> {
    /// What the sheet says of it.
    pub spec: &'a PartSpec,
    /// The checks that measure its wear.
    pub wear: Vec<(&'a CheckSpec, &'a Measure, &'a WearSpec)>,
    /// Its life, if it is not measured, or how it breaks all of a sudden; the depot's own parts learned from.
    pub life: Option<(&'a LifeSpec, Life)>,
}

/// The use of a model before any hours are read.
pub fn usage_prior(sheet: &Sheet) -> UsagePrior {
    UsagePrior {
        shape: sheet.usage.shape.value,
        prior_days: sheet.usage.prior_days.value,
        prior_hours_per_day: sheet.usage.prior_hours_per_day.value,
    }
}

/// Every model of the depot, by id; `clocks` are its units', in the facts' order.
pub fn models<'a>(
    shared: &Shared<'a>,
    clocks: &[Option<UnitClock<'_>>],
) -> BTreeMap<Uuid, Model<'a>> {
    let facts = shared.facts;
    let of_model = |id: &Uuid| {
        let units = facts
            .units
            .iter()
            .zip(clocks)
            .filter(move |(unit, _)| unit.model == *id);
        units
            .filter_map(|(_, clock)| clock.as_ref())
            .collect::<Vec<_>>()
    };
    facts
        .sheets
        .iter()
        .map(|(id, sheet)| (*id, Model::new(sheet, &of_model(id), shared)))
        .collect()
}

impl<'a> Model<'a> {
    fn new(sheet: &'a Sheet, clocks: &[&UnitClock<'_>], shared: &Shared<'_>) -> Self {
        let start = learned_start(sheet, clocks);
        let parts = sheet
            .parts
            .iter()
            .enumerate()
            .map(|(place, spec)| PartModel {
                spec,
                wear: sheet.wear_checks(&spec.part).collect(),
                life: spec.life.as_ref().map(|life| {
                    let mut seen = Lives::default();
                    for clock in clocks {
                        seen.add(place, life, clock, shared);
                    }
                    let prior = Life::new(
                        life.shape.value,
                        life.prior_scale.value,
                        life.prior_weight.value,
                        &seen.dated,
                    );
                    (life, prior.found_failed(&seen.found_failed))
                }),
            });
        Model {
            sheet,
            dead_rates: GAUSS_LEGENDRE.map(|(u, _)| start.quantile(u)),
            start,
            parts: parts.collect(),
        }
    }
}

/// Section 6: tests after more than two days of standing teach the rate of going dead, sooner ones the chance at once.
/// Of attempts one after the other that fail only the first is a test: the machine was dead then already.
fn learned_start(sheet: &Sheet, clocks: &[&UnitClock<'_>]) -> StartRate {
    let figures = &sheet.start;
    let weight = figures.at_once_weight.value;
    let (mut good, mut all) = (weight * figures.at_once.value, weight);
    let mut tests = Vec::new();
    for clock in clocks {
        let mut last_good: Option<i32> = None;
        for attempt in &clock.starts {
            if let Some(run) = last_good {
                let days = f64::from((attempt.day - run).max(0));
                if days > AT_ONCE_DAYS {
                    tests.push(StartTest {
                        days,
                        started: attempt.started,
                        factor: attempt.factor,
                    });
                } else {
                    good += f64::from(u8::from(attempt.started));
                    all += 1.0;
                }
            }
            last_good = attempt.started.then_some(attempt.day);
        }
    }
    let prior = StartRate {
        alpha: figures.alpha.value,
        beta: figures.beta.value,
        shape: figures.shape.value,
        at_once: (good / all).clamp(0.0, 1.0),
    };
    prior.learn(&tests)
}

/// Section 5: the lives of one part of a model, ended and running, where their beginning is known.
#[derive(Default)]
struct Lives {
    /// Sound when renewed, or now; or failed at a known age.
    dated: Vec<History>,
    /// Failed somewhere between two ages.
    found_failed: Vec<FoundFailed>,
}

impl Lives {
    /// Adds those of the part at `place` on one unit.
    fn add(&mut self, place: usize, life: &LifeSpec, clock: &UnitClock<'_>, shared: &Shared<'_>) {
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
}

#[cfg(test)]
mod tests {
    use super::GAUSS_LEGENDRE;

    /// Eight nodes are exact for powers up to 15, and no further.
    #[test]
    fn the_nodes_integrate_polynomials_exactly() {
        let moment = |power: i32| {
            GAUSS_LEGENDRE
                .iter()
                .map(|(u, weight)| weight * u.powi(power))
                .sum::<f64>()
        };
        for power in 0..=15 {
            assert!(
                (moment(power) - 1.0 / f64::from(power + 1)).abs() < 1e-13,
                "{power}: {}",
                moment(power)
            );
        }
        assert!((moment(16) - 1.0 / 17.0).abs() > 1e-12);
    }
}
