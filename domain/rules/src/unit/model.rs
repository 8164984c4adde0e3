//! What the machines of one model in a depot have in common: its sheet, and what their own history has taught.

use std::collections::BTreeMap;

use jiff::civil::Date;
use uuid::Uuid;

use super::UnitClock;
use crate::facts::{DepotFacts, FittedPartFacts, Fitting, UnitFacts};
use crate::hours::UsagePrior;
use crate::life::{History, Life};
use crate::sheet::{CheckSpec, Clock, LifeSpec, Measure, PartSpec, Sheet, WearSpec};
use crate::snow_days::SnowDays;
use crate::start::{AT_ONCE_DAYS, StartRate, StartTest};

/// Doubt about a kind's start rate is averaged over so many Gauss-Legendre nodes.
pub const NODES: usize = 8;

/// Gauss-Legendre nodes on (0, 1), ascending, and their weights (Abramowitz & Stegun, table 25.4, n = 8, moved from
/// (-1, 1)).
pub const GAUSS_LEGENDRE: [(f64, f64); NODES] = [
    (0.019_855_071_751_231_9, 0.050_614_268_145_188_1),
    (0.101_666_761_293_186_6, 0.111_190_517_226_687_2),
    (0.237_233_795_041_835_5, 0.156_853_322_938_943_6),
    (0.408_282_678_752_175_1, 0.181_341_891_689_181_0),
    (0.591_717_321_247_824_9, 0.181_341_891_689_181_0),
    (0.762_766_204_958_164_5, 0.156_853_322_938_943_6),
    (0.898_333_238_706_813_4, 0.111_190_517_226_687_2),
    (0.980_144_928_248_768_1, 0.050_614_268_145_188_1),
];

/// A model in a depot.
#[derive(Debug, Clone)]
pub struct Model<'a> {
    /// Its sheet.
    pub sheet: &'a Sheet,
    /// Its use before any hours are read.
    pub usage: UsagePrior,
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

/// Every model of the depot's units.
pub fn models<'a>(
    facts: &'a DepotFacts,
    clocks: &[Option<UnitClock>],
    snow_days: &SnowDays,
    today: Date,
) -> BTreeMap<Uuid, Model<'a>> {
    facts
        .sheets
        .iter()
        .map(|(id, sheet)| {
            let units: Vec<(&UnitFacts, &UnitClock)> = facts
                .units
                .iter()
                .zip(clocks)
                .filter(|(unit, _)| unit.model == *id)
                .filter_map(|(unit, clock)| Some((unit, clock.as_ref()?)))
                .collect();
            (*id, Model::new(sheet, &units, facts, snow_days, today))
        })
        .collect()
}

/// The use of a model before any hours are read.
pub fn usage_prior(sheet: &Sheet) -> UsagePrior {
    UsagePrior {
        shape: sheet.usage.shape.value,
        prior_days: sheet.usage.prior_days.value,
        prior_hours_per_day: sheet.usage.prior_hours_per_day.value,
    }
}

impl<'a> Model<'a> {
    fn new(
        sheet: &'a Sheet,
        units: &[(&UnitFacts, &UnitClock)],
        facts: &DepotFacts,
        snow_days: &SnowDays,
        today: Date,
    ) -> Self {
        let start = learned_start(sheet, units, facts);
        let parts = sheet
            .parts
            .iter()
            .map(|spec| PartModel {
                spec,
                wear: sheet.wear_checks(&spec.part).collect(),
                life: spec.life.as_ref().map(|life| {
                    let mut histories = Vec::new();
                    for (unit, clock) in units {
                        ended_lives(&mut histories, spec, life, unit, clock, facts, snow_days);
                        histories.extend(running_life(
                            spec, life, unit, clock, facts, snow_days, today,
                        ));
                    }
                    let (scale, weight) = (life.prior_scale.value, life.prior_weight.value);
                    (life, Life::new(life.shape.value, scale, weight, &histories))
                }),
            })
            .collect();
        Model {
            sheet,
            usage: usage_prior(sheet),
            dead_rates: GAUSS_LEGENDRE.map(|(u, _)| start.quantile(u)),
            start,
            parts,
        }
    }
}

/// Section 6: tests after more than two days of standing teach the rate of going dead, sooner ones the chance at once.
/// Of attempts one after the other that fail only the first is a test: the machine was dead then already.
fn learned_start(
    sheet: &Sheet,
    units: &[(&UnitFacts, &UnitClock)],
    facts: &DepotFacts,
) -> StartRate {
    let figures = &sheet.start;
    let weight = figures.at_once_weight.value;
    let (mut good, mut all) = (weight * figures.at_once.value, weight);
    let mut tests = Vec::new();
    for (_, clock) in units {
        let mut last_good: Option<Date> = None;
        for (at, started) in &clock.starts {
            let day = facts.zone.to_datetime(*at).date();
            if let Some(run) = last_good {
                let days = f64::from(crate::season::days_between(run, day).max(0));
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
            last_good = started.then_some(day);
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

/// Age of a part that has been on since `from` by then, if it can be known.
pub fn fitted_age(
    life: &LifeSpec,
    from: &FittedPartFacts,
    clock: &UnitClock,
    facts: &DepotFacts,
    snow_days: &SnowDays,
    until: Until,
) -> Option<f64> {
    let age = match life.clock {
        Clock::Days => {
            let fitted = facts.zone.to_datetime(from.fitted_at?).date();
            f64::from(crate::season::days_between(fitted, until.day))
        }
        Clock::Hours => until.hours - fitted_hours(from, clock, facts, snow_days)?,
    };
    Some(age.max(0.0))
}

/// A point in a machine's time: the day, and the hours on its meter.
#[derive(Debug, Clone, Copy)]
pub struct Until {
    /// The day.
    pub day: Date,
    /// The hours.
    pub hours: f64,
}

/// Hours on the meter when a part was fitted, noted or taken from the timeline.
pub fn fitted_hours(
    path: &FittedPartFacts,
    clock: &UnitClock,
    facts: &DepotFacts,
    snow_days: &SnowDays,
) -> Option<f64> {
    path.fitted_hours.or_else(|| {
        let at = path.fitted_at?;
        Some(clock.hours_at(at, snow_days, &facts.zone))
    })
}

/// The paths of a part in the order in which they were on the machine.
fn in_order<'u>(unit: &'u UnitFacts, part: &str) -> Vec<&'u FittedPartFacts> {
    let mut paths: Vec<&FittedPartFacts> =
        unit.parts.iter().filter(|path| path.part == part).collect();
    paths.sort_by_key(|path| {
        (
            path.removed_at.is_none(),
            path.removed_at,
            path.fitted_at,
            path.id,
        )
    });
    paths
}

/// The path a part's present life began with: turning or adjusting it did not make it new.
pub fn life_began<'u>(unit: &'u UnitFacts, part: &str) -> Option<&'u FittedPartFacts> {
    let paths = in_order(unit, part);
    paths.last().filter(|path| path.removed_at.is_none())?;
    paths
        .iter()
        .rev()
        .find(|path| matches!(path.how, Fitting::Renewed | Fitting::AsDelivered))
        .copied()
}

/// Lives of this part that ended on this unit, where both ends are known.
fn ended_lives(
    histories: &mut Vec<History>,
    spec: &PartSpec,
    life: &LifeSpec,
    unit: &UnitFacts,
    clock: &UnitClock,
    facts: &DepotFacts,
    snow_days: &SnowDays,
) {
    let paths = in_order(unit, &spec.part);
    let mut began: Option<&FittedPartFacts> = None;
    for (index, path) in paths.iter().enumerate() {
        if matches!(path.how, Fitting::Renewed | Fitting::AsDelivered) {
            began = Some(path);
        }
        let ended = path.removed_at.is_some()
            && paths
                .get(index + 1)
                .is_none_or(|next| matches!(next.how, Fitting::Renewed | Fitting::AsDelivered));
        let (true, Some(from), Some(removed_at)) = (ended, began, path.removed_at) else {
            continue;
        };
        let until = Until {
            day: facts.zone.to_datetime(removed_at).date(),
            hours: path
                .removed_hours
                .unwrap_or_else(|| clock.hours_at(removed_at, snow_days, &facts.zone)),
        };
        if let Some(exit) = fitted_age(life, from, clock, facts, snow_days, until) {
            histories.push(History {
                entry: 0.0,
                exit,
                failed: path.failed == Some(true),
            });
        }
    }
}

/// The life of the part now fitted so far, where its beginning is known.
fn running_life(
    spec: &PartSpec,
    life: &LifeSpec,
    unit: &UnitFacts,
    clock: &UnitClock,
    facts: &DepotFacts,
    snow_days: &SnowDays,
    today: Date,
) -> Option<History> {
    let (_, hours) = clock.base(&facts.zone)?;
    let until = Until { day: today, hours };
    let exit = fitted_age(
        life,
        life_began(unit, &spec.part)?,
        clock,
        facts,
        snow_days,
        until,
    )?;
    Some(History {
        entry: 0.0,
        exit,
        failed: false,
    })
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
