//! Stocks of spares until the end of this season, by the `wear-season`, `running-hours` and `spares` calculations, and
//! whether they were enough.

use rimeyard_rules::calculations::{running_hours, spares, wear_season};
use rimeyard_rules::depot::Evaluation;
use rimeyard_rules::unit::standing::Figure;

use super::after::Happened;
use super::depot::{Case, Depot};
use super::sky::{Day, THIS_WINTER, july};

/// Service levels that stocks are asked for.
pub const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];

/// A stock, and whether it was enough.
#[derive(Debug, Clone, Copy)]
pub struct Stocked {
    /// Shear fasteners, or a part that wears.
    pub fasteners: bool,
    /// A place in [`LEVELS`].
    pub level: usize,
    pub enough: bool,
    /// With one fewer.
    pub less_enough: bool,
    /// What the same asks for if each part and machine had a winter of its own.
    pub enough_apart: bool,
}

/// The part that stocks are asked for, by its place on the sheet.
const PART: usize = 0;

pub fn stocked(
    case: &Case,
    depot: &Depot,
    evaluation: &Evaluation,
    happened: &[Happened],
    ends: Day,
) -> Vec<Stocked> {
    let population = &case.population;
    // Each winter on record is a winter to come, and its days after the storm are days of use.
    let after = depot.storm_day();
    let days: Vec<f64> = depot
        .sky
        .record
        .iter()
        .map(|winter| {
            let dated = winter.iter().map(|day| july(THIS_WINTER) + day);
            dated.filter(|day| *day > after && *day <= ends).count() as f64
        })
        .collect();
    let mut winters: Vec<spares::WinterInput> = days
        .iter()
        .map(|_| spares::WinterInput {
            wear_out: Vec::new(),
            hours: 0.0,
        })
        .collect();
    for unit in &evaluation.units {
        let name = &population.parts[PART].part;
        let mut factors = unit.inputs.factors.iter();
        let figure = factors
            .find(|factor| factor.factor == *name)
            .map(|factor| factor.figure.as_ref());
        let Some(Some(Figure::WearSeason(input))) = figure else {
            return Vec::new();
        };
        for ((winter, days), before) in winters.iter_mut().zip(&days).zip(&input.scenarios) {
            let mut input = input.clone();
            input.scenarios = vec![before + days];
            let lasts = wear_season::calculate(&input).expect("a part").lasts;
            winter.wear_out.push(1.0 - lasts);
            let used = running_hours::calculate(&running_hours::Input {
                shape: input.usage.shape,
                prior_days: input.usage.prior_days,
                prior_hours_per_day: input.usage.prior_hours_per_day,
                run_hours: input.usage.run_hours,
                snow_days: input.usage.snow_days,
                future_days: 0.0,
                at_hours: 0.0,
            });
            winter.hours += depot.storm_hours + used.expect("hours").hours_per_day * days;
        }
    }
    let worn = happened.iter().filter(|one| !one.wear[PART].season).count() as u64;
    let broken = happened.iter().map(|one| u64::from(one.broken)).sum();
    let fasteners = case.sheet.shear_fasteners.as_ref().expect("fasteners");
    let breaks = spares::Breaks {
        alpha: fasteners.alpha.value,
        beta: fasteners.beta_hours.value,
        hours: None,
    };
    let mut stocked = Vec::new();
    for (level, service_level) in LEVELS.into_iter().enumerate() {
        for of_fasteners in [false, true] {
            let input = spares::Input {
                wear_out: None,
                winters: Some(
                    winters
                        .iter()
                        .map(|winter| spares::WinterInput {
                            wear_out: if of_fasteners {
                                Vec::new()
                            } else {
                                winter.wear_out.clone()
                            },
                            hours: if of_fasteners { winter.hours } else { 0.0 },
                        })
                        .collect(),
                ),
                breaks: of_fasteners.then_some(breaks),
                service_level,
            };
            let stock = spares::calculate(&input).expect("a stock").stock;
            let apart = spares::calculate(&apart(&input)).expect("a stock").stock;
            let demand = if of_fasteners { broken } else { worn };
            stocked.push(Stocked {
                fasteners: of_fasteners,
                level,
                enough: demand <= stock,
                less_enough: demand < stock,
                enough_apart: demand <= apart,
            });
        }
    }
    stocked
}

/// The same as if each part had a winter of its own: one winter of mean chances and hours.
fn apart(input: &spares::Input) -> spares::Input {
    let winters = input.winters.as_ref().expect("winters");
    let count = winters.len() as f64;
    let parts = winters[0].wear_out.len();
    let mean = (0..parts).map(|part| {
        winters
            .iter()
            .map(|winter| winter.wear_out[part])
            .sum::<f64>()
            / count
    });
    spares::Input {
        winters: Some(vec![spares::WinterInput {
            wear_out: mean.collect(),
            hours: winters.iter().map(|winter| winter.hours).sum::<f64>() / count,
        }]),
        ..input.clone()
    }
}
