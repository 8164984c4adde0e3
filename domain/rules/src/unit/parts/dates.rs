//! By which day a limit is reached: through the scenarios' dated days of use.

use jiff::civil::Date;

use super::{Quantiles, Running};
use crate::season::date_of;
use crate::special::{FastNormal, digamma, trigamma};
use crate::wear::WearPath;

/// Gauss-Hermite nodes and weights for the standard normal, n = 3 (Abramowitz & Stegun, table 25.10, rescaled).
const HERMITE: [(f64, f64); 3] = [
    (-1.732_050_807_568_877_2, 1.0 / 6.0),
    (0.0, 2.0 / 3.0),
    (1.732_050_807_568_877_2, 1.0 / 6.0),
];

/// Hours on so many days of use, at three nodes, worked out when first asked for.
#[derive(Debug, Default)]
pub(super) struct Dates {
    by_days: Vec<Option<[f64; 3]>>,
}

impl Running<'_> {
    /// Hours on `days` days of use, over 0: as lognormal, with the exact mean and variance of their logarithm. For a
    /// date that is near enough, and every part of the unit shares it.
    fn hours_on(&self, days: u32) -> [f64; 3] {
        let mut dates = self.dates.borrow_mut();
        let place = days as usize;
        if dates.by_days.len() <= place {
            dates.by_days.resize((place + 1).max(64), None);
        }
        *dates.by_days[place].get_or_insert_with(|| {
            let (shape, a, b) = self.usage.parameters();
            let shape = shape * f64::from(days);
            let mean = digamma(shape) - digamma(a) + b.ln();
            let sd = (trigamma(shape) + trigamma(a)).sqrt();
            HERMITE.map(|(x, _)| (mean + sd * x).exp())
        })
    }

    /// Days by which `limit` is reached with chance 0.1, 0.5 and 0.9 by a path that is `from` hours old at the base.
    pub(super) fn reached_by(&self, path: &WearPath, limit: f64, from: f64) -> Quantiles<Date> {
        let days = &self.shared.snow_days;
        let normal = FastNormal::new();
        let not_reached = |day: i32| {
            let sum: f64 = (0..days.scenarios())
                .map(
                    |scenario| match days.between(scenario, self.base.day, day + 1) {
                        0 => path.lasts_fast(normal, limit, from),
                        count => {
                            let nodes = HERMITE.iter().zip(self.hours_on(count));
                            nodes
                                .map(|((_, weight), hours)| {
                                    weight * path.lasts_fast(normal, limit, from + hours)
                                })
                                .sum()
                        }
                    },
                )
                .sum();
            sum / days.scenarios() as f64
        };
        let horizon = days.horizon().max(self.base.day);
        let at_last = 1.0 - not_reached(horizon);
        let first_day = |p: f64, from: i32| {
            if at_last < p {
                return None;
            }
            let (mut low, mut high) = (from, horizon);
            while low < high {
                let middle = low + (high - low) / 2;
                if 1.0 - not_reached(middle) >= p {
                    high = middle;
                } else {
                    low = middle + 1;
                }
            }
            Some(high)
        };
        let p10 = first_day(0.1, self.base.day);
        let p50 = p10.and_then(|from| first_day(0.5, from));
        let p90 = p50.and_then(|from| first_day(0.9, from));
        Quantiles {
            p10: p10.map(date_of),
            p50: p50.map(date_of),
            p90: p90.map(date_of),
        }
    }
}
