//! Whether forecasts and what happened go together.

use statrs::distribution::{Binomial, DiscreteCDF};

use super::chance::Chance;
use super::judge::{Forecast, Judged, Kind, Quantile};

/// Bands leave out a thousandth.
const OUTSIDE: f64 = 0.001;
/// Resamples of a bootstrap.
const RESAMPLES: usize = 2000;
/// Depots that a bootstrap needs to say anything.
const DEPOTS_MIN: usize = 40;

/// A tenth of forecast chance: what was foretold in it, and what happened.
#[derive(Debug, Clone, Copy)]
pub struct Tenth {
    pub count: u64,
    /// Mean forecast.
    pub foretold: f64,
    pub happened: u64,
    /// So many would have happened with a chance of 99.9 %, were all foretold right.
    pub band: (u64, u64),
}

impl Tenth {
    fn of(forecasts: &[&Forecast]) -> Self {
        let count = forecasts.len() as u64;
        let foretold = forecasts.iter().map(|one| one.chance).sum::<f64>() / count as f64;
        Tenth {
            count,
            foretold,
            happened: forecasts.iter().filter(|one| one.happened).count() as u64,
            band: band(count, foretold),
        }
    }

    pub fn share(&self) -> f64 {
        self.happened as f64 / self.count as f64
    }

    pub fn holds(&self) -> bool {
        (self.band.0..=self.band.1).contains(&self.happened)
    }
}

/// The binomial band. Chances that differ within a tenth scatter less than this.
pub fn band(count: u64, chance: f64) -> (u64, u64) {
    let binomial = Binomial::new(chance.clamp(0.0, 1.0), count).expect("a chance");
    (
        binomial.inverse_cdf(OUTSIDE / 2.0),
        binomial.inverse_cdf(1.0 - OUTSIDE / 2.0),
    )
}

fn tenth(chance: f64) -> usize {
    ((chance * 10.0) as usize).min(9)
}

/// The tenths of one forecast a depot and winter; those without any are left out.
pub fn tenths(judged: &Judged, kind: Kind) -> Vec<Tenth> {
    let alone = judged
        .forecasts
        .iter()
        .filter(|one| one.kind == kind && one.alone);
    let alone: Vec<&Forecast> = alone.collect();
    (0..10)
        .map(|place| {
            alone
                .iter()
                .filter(|one| tenth(one.chance) == place)
                .copied()
                .collect()
        })
        .filter(|of: &Vec<&Forecast>| !of.is_empty())
        .map(|of| Tenth::of(&of))
        .collect()
}

/// A tenth of all forecasts of whole fleets: how far what happened is over what was foretold, and between what 99.9 % of
/// resamples of the depots put that.
#[derive(Debug, Clone, Copy)]
pub struct Whole {
    pub foretold: f64,
    pub off: f64,
    pub from: f64,
    pub to: f64,
}

impl Whole {
    pub fn holds(&self) -> bool {
        self.from <= 0.0 && 0.0 <= self.to
    }
}

/// The tenths of whole fleets, by a bootstrap over depots and their winters (percentiles; Efron & Tibshirani 1993); where
/// too few depots have any, nothing is said.
pub fn wholes(judged: &Judged, kind: Kind) -> Vec<Whole> {
    let mut chance = Chance::new(0xB007, kind as u64);
    (0..10)
        .filter_map(|place| {
            let of = judged
                .forecasts
                .iter()
                .filter(|one| one.kind == kind && tenth(one.chance) == place);
            // Forecasts of a depot come one after the other.
            let mut depots: Vec<(u64, f64, f64, f64)> = Vec::new();
            for one in of {
                if depots.last().is_none_or(|last| last.0 != one.depot) {
                    depots.push((one.depot, 0.0, 0.0, 0.0));
                }
                let last = depots.last_mut()?;
                last.1 += 1.0;
                last.2 += one.chance;
                last.3 += f64::from(u8::from(one.happened)) - one.chance;
            }
            let uncertain = depots.iter().any(|depot| depot.3.abs() > 1e-9);
            if depots.len() < DEPOTS_MIN || !uncertain {
                return None;
            }
            let count: f64 = depots.iter().map(|depot| depot.1).sum();
            let resampled = (0..RESAMPLES).map(|_| {
                let (mut count, mut off) = (0.0, 0.0);
                for _ in 0..depots.len() {
                    let depot = &depots[chance.place(depots.len())];
                    count += depot.1;
                    off += depot.3;
                }
                off / count
            });
            let mut resampled: Vec<f64> = resampled.collect();
            resampled.sort_by(f64::total_cmp);
            let outside = (RESAMPLES as f64 * OUTSIDE / 2.0) as usize;
            Some(Whole {
                foretold: depots.iter().map(|depot| depot.2).sum::<f64>() / count,
                off: depots.iter().map(|depot| depot.3).sum::<f64>() / count,
                from: resampled[outside],
                to: resampled[RESAMPLES - 1 - outside],
            })
        })
        .collect()
}

/// Brier scores (Brier 1950) as skill over who foretells the same chance of all, the share that happened.
#[derive(Debug, Clone, Copy)]
pub struct Skill {
    pub count: usize,
    pub own: f64,
    /// Of who knows the populations.
    pub populations: f64,
    /// Of who knows the fleet's rates too.
    pub rates: f64,
}

impl Skill {
    /// Share of the skill that knowing the populations gives.
    pub fn share(&self) -> f64 {
        self.own / self.populations
    }
}

pub fn skill(judged: &Judged, kind: Kind) -> Skill {
    let of: Vec<&Forecast> = judged
        .forecasts
        .iter()
        .filter(|one| one.kind == kind)
        .collect();
    let count = of.len() as f64;
    let came = |one: &&Forecast| f64::from(u8::from(one.happened));
    let mean = of.iter().map(came).sum::<f64>() / count;
    let brier = |chance: &dyn Fn(&Forecast) -> f64| {
        of.iter()
            .map(|one| (chance(one) - came(one)).powi(2))
            .sum::<f64>()
            / count
    };
    let worst = brier(&|_| mean);
    let skill = |chance: &dyn Fn(&Forecast) -> f64| 1.0 - brier(chance) / worst;
    Skill {
        count: of.len(),
        own: skill(&|one| one.chance),
        populations: skill(&|one| one.knowing[0]),
        rates: skill(&|one| one.knowing[1]),
    }
}

/// How often what came was at or under the 10, 50 and 90 % quantiles: of one forecast a depot and winter, and of all.
#[derive(Debug, Clone, Copy)]
pub struct Coverage {
    pub count: u64,
    pub under: [u64; 3],
    pub of_all: [f64; 3],
}

impl Coverage {
    pub const CHANCES: [f64; 3] = [0.1, 0.5, 0.9];

    pub fn holds(&self) -> bool {
        self.under.iter().zip(Self::CHANCES).all(|(under, chance)| {
            let (from, to) = band(self.count, chance);
            (from..=to).contains(under)
        })
    }
}

pub fn coverage(judged: &Judged, of: Quantile) -> Coverage {
    let all: Vec<_> = judged.unders.iter().filter(|one| one.of == of).collect();
    let alone: Vec<_> = all.iter().filter(|one| one.alone).collect();
    Coverage {
        count: alone.len() as u64,
        under: [0, 1, 2].map(|place| alone.iter().filter(|one| one.under[place]).count() as u64),
        of_all: [0, 1, 2].map(|place| {
            all.iter().filter(|one| one.under[place]).count() as f64 / all.len() as f64
        }),
    }
}

/// How often readings are said to bend.
#[derive(Debug, Clone, Copy)]
pub struct Bends {
    /// Share of parts with enough readings to tell.
    pub readable: f64,
    /// Of these, the share that is flagged.
    pub flagged: f64,
    /// The share flagged of the parts that gave up this season against a good chance to last it.
    pub of_surprises: f64,
}

pub fn bends(judged: &Judged) -> Bends {
    let share = |count: usize, of: usize| count as f64 / of as f64;
    let readable: Vec<bool> = judged.advised.iter().filter_map(|one| one.bends).collect();
    let surprises = judged
        .advised
        .iter()
        .filter(|one| one.season >= 0.8 && !one.lasted.season);
    let flagged = surprises.clone().filter(|one| one.bends == Some(true));
    Bends {
        readable: share(readable.len(), judged.advised.len()),
        flagged: share(
            readable.iter().filter(|bends| **bends).count(),
            readable.len(),
        ),
        of_surprises: share(flagged.count(), surprises.count()),
    }
}
