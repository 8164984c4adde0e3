//! What the machines of one model in a depot have in common: its sheet, and what the fleet's history has taught, or their
//! own until the fleet's is learned.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::Shared;
use super::clock::UnitClock;
use crate::hours::UsagePrior;
use crate::learn::{Learned, PartLives, start_tests};
use crate::life::Life;
use crate::sheet::{CheckSpec, LifeSpec, Measure, PartSpec, ShearFasteners, Sheet, WearSpec};
use crate::spares::BreakRate;
pub use crate::special::GAUSS_LEGENDRE;
use crate::start::{self, StartRate, StartTest};
use crate::wear::WearPrior;

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
    /// What the fleet has taught of it.
    pub learned: Option<&'a Learned>,
    /// How it starts after standing: the fleet's starts learned from, else the depot's own.
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
    /// The checks that measure its wear, and how such parts wear: as the fleet shows, else as the sheet says.
    pub wear: Vec<(&'a CheckSpec, &'a Measure, WearPrior)>,
    /// Its life, if it is not measured, or how it breaks all of a sudden: the fleet's parts learned from, else the depot's
    /// own.
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
        .map(|(id, sheet)| {
            let learned = facts.learned.get(id);
            (*id, Model::new(sheet, &of_model(id), learned, shared))
        })
        .collect()
}

impl<'a> Model<'a> {
    /// How often its shear fasteners break: as the fleet's do, else as the sheet says.
    pub fn break_rate(&self, sheet: &ShearFasteners) -> BreakRate {
        let learned = self.learned.and_then(|learned| learned.breaks.as_ref());
        learned.map_or(
            BreakRate {
                alpha: sheet.alpha.value,
                beta: sheet.beta_hours.value,
            },
            |breaks| BreakRate {
                alpha: breaks.alpha,
                beta: breaks.beta_hours,
            },
        )
    }

    fn new(
        sheet: &'a Sheet,
        clocks: &[&UnitClock<'_>],
        learned: Option<&'a Learned>,
        shared: &Shared<'_>,
    ) -> Self {
        // What the whole fleet has taught holds this depot's history too.
        let start = learned.map_or_else(
            || {
                let starts = clocks.iter().flat_map(|clock| start_tests(clock));
                let starts: Vec<StartTest> = starts.collect();
                start::learn(&sheet.start, &starts).rate
            },
            |learned| learned.start.rate,
        );
        let life = |place: usize, spec: &PartSpec, life: &LifeSpec| {
            if let Some(learned) = learned.and_then(|learned| learned.lives.get(&spec.part)) {
                return learned.life;
            }
            let mut seen = PartLives::default();
            for clock in clocks {
                seen.add(place, life, clock, shared);
            }
            seen.teach(life).life
        };
        let prior = |check: &CheckSpec, measure: &Measure, figures: &WearSpec| {
            let learned = learned.and_then(|learned| learned.wear.get(&check.check));
            learned.map_or_else(|| WearPrior::of_sheet(measure, figures), |it| it.prior)
        };
        let parts = sheet
            .parts
            .iter()
            .enumerate()
            .map(|(place, spec)| PartModel {
                spec,
                wear: sheet
                    .wear_checks(&spec.part)
                    .map(|(check, measure, figures)| {
                        (check, measure, prior(check, measure, figures))
                    })
                    .collect(),
                life: spec
                    .life
                    .as_ref()
                    .map(|figures| (figures, life(place, spec, figures))),
            });
        Model {
            sheet,
            learned,
            dead_rates: GAUSS_LEGENDRE.map(|(u, _)| start.quantile(u)),
            start,
            parts: parts.collect(),
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
