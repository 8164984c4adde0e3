//! What the machines of one model in a depot have in common: its sheet, and what their own history has taught.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::Shared;
use super::clock::{Moment, UnitClock, is_new};
use crate::facts::FittedPartFacts;
use crate::hours::UsagePrior;
use crate::life::{History, Life};
use crate::season::day_number;
use crate::sheet::{CheckSpec, LifeSpec, Measure, PartSpec, Sheet, WearSpec};
pub use crate::special::GAUSS_LEGENDRE;
use crate::start::{AT_ONCE_DAYS, StartRate, StartTest};
use crate::timeline::day_in;

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
                    let mut histories = Vec::new();
                    for clock in clocks {
                        lives(&mut histories, place, life, clock, shared);
                    }
                    (
                        life,
                        Life::new(
                            life.shape.value,
                            life.prior_scale.value,
                            life.prior_weight.value,
                            &histories,
                        ),
                    )
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
        for (_, day, started) in &clock.starts {
            if let Some(run) = last_good {
                let days = f64::from((day - run).max(0));
                if days > AT_ONCE_DAYS {
                    tests.push(StartTest {
                        days,
                        started: *started,
                        factor: 1.0,
                    });
                } else {
                    good += f64::from(u8::from(*started));
                    all += 1.0;
                }
            }
            last_good = started.then_some(*day);
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

/// Section 5: the lives of the part at `place` on one unit, ended and running, where their beginning is known.
fn lives(
    histories: &mut Vec<History>,
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
        let (true, Some(began)) = (last_of_its_life, began) else {
            continue;
        };
        let (until, failed) = match path.removed_at {
            Some(at) => {
                let hours = path
                    .removed_hours
                    .unwrap_or_else(|| clock.hours_at(at, shared));
                (
                    Moment {
                        day: day_in(at, &shared.facts.zone),
                        hours,
                    },
                    path.failed == Some(true),
                )
            }
            None => {
                let Some(base) = clock.base() else { continue };
                (
                    Moment {
                        day: day_number(shared.today),
                        ..base
                    },
                    false,
                )
            }
        };
        if let Some(exit) = clock.age(life, began, until, shared) {
            histories.push(History {
                entry: 0.0,
                exit,
                failed,
            });
        }
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
