//! Spares for a horizon (section 12 of the computation): the least stock that is enough with the service level's chance.

use crate::special::{beta_power, beta_tails};

/// What one winter may ask for.
#[derive(Debug, Clone, PartialEq)]
pub struct WinterDemand {
    /// Chance of each fitted part to wear out in it.
    pub wear_out: Vec<f64>,
    /// Sudden breaks in it.
    pub breaks: Option<Breaks>,
}

impl WinterDemand {
    /// Mean demand.
    pub fn mean(&self) -> f64 {
        self.wear_out.iter().sum::<f64>() + self.breaks.map_or(0.0, |breaks| breaks.mean())
    }
}

/// Breaks to come, negative binomial: at a rate that is doubtful, over hours that are given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Breaks {
    /// Breaks an hour.
    pub rate: BreakRate,
    /// Running hours of all units that share that rate, together; at most 1e6 times the rate's beta.
    pub hours: f64,
}

impl Breaks {
    /// Mean breaks.
    pub fn mean(&self) -> f64 {
        self.hours * self.rate.alpha / self.rate.beta
    }

    /// The breaks of groups of units that share no rate with one another, all together. Of one group exactly; of several the
    /// rates' sum, weighted by hours, is taken for the Gamma of its mean and variance.
    pub fn together(groups: impl IntoIterator<Item = Breaks>) -> Option<Breaks> {
        let groups: Vec<Breaks> = groups.into_iter().filter(|one| one.hours > 0.0).collect();
        if let [] | [_] = groups.as_slice() {
            return groups.first().copied();
        }
        let mean: f64 = groups.iter().map(Breaks::mean).sum();
        let variance = |one: &Breaks| one.mean() * one.hours / one.rate.beta;
        let variance: f64 = groups.iter().map(variance).sum();
        let hours = groups.iter().map(|one| one.hours).sum();
        let alpha = mean * mean / variance;
        Some(Breaks {
            rate: BreakRate {
                alpha,
                beta: alpha * hours / mean,
            },
            hours,
        })
    }
}

/// Gamma distribution of breaks an hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BreakRate {
    /// Shape: breaks it is worth.
    pub alpha: f64,
    /// Rate parameter: running hours it is worth.
    pub beta: f64,
}

/// What to keep.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stock {
    /// Least S with P(demand <= S) >= the service level.
    pub stock: u64,
    /// Mean demand.
    pub mean: f64,
}

/// Chances under this are nobody's.
const NEGLIGIBLE: f64 = 1e-18;

/// Demand of one winter: worn parts, a Poisson-binomial without its negligible tails, and breaks.
struct Demand {
    first: u64,
    worn: Vec<f64>,
    breaks: Option<(f64, f64, f64)>,
}

impl Demand {
    fn new(winter: &WinterDemand) -> Self {
        let mut first = 0;
        let mut worn = vec![1.0];
        for p in &winter.wear_out {
            worn.push(0.0);
            for k in (0..worn.len()).rev() {
                let below = if k > 0 { worn[k - 1] } else { 0.0 };
                worn[k] = worn[k] * (1.0 - p) + below * p;
            }
            let leading = worn
                .iter()
                .take_while(|chance| **chance < NEGLIGIBLE)
                .count();
            worn.drain(..leading);
            first += leading as u64;
            while worn.last().is_some_and(|chance| *chance < NEGLIGIBLE) {
                worn.pop();
            }
        }
        let breaks = winter.breaks.filter(|breaks| breaks.hours > 0.0);
        let breaks = breaks.map(|Breaks { rate, hours }| {
            let total = rate.beta + hours;
            (rate.alpha, rate.beta / total, hours / total)
        });
        Demand {
            first,
            worn,
            breaks,
        }
    }

    /// P(demand <= stock).
    fn at_most(&self, stock: u64) -> f64 {
        let Some(most) = stock.checked_sub(self.first) else {
            return 0.0;
        };
        let Some((alpha, p, q)) = self.breaks else {
            return self.worn.iter().take(most as usize + 1).sum();
        };
        // P(breaks <= k) for k = most downwards, by what each k adds.
        let mut left = beta_tails(alpha, most as f64 + 1.0, p, q).0;
        let mut sum = 0.0;
        let mut k = most as f64;
        for chance in self.worn.iter().take(most as usize + 1) {
            sum += chance * left;
            left -= beta_power(alpha, k + 1.0, p, q) / (q * (alpha + k));
            k -= 1.0;
        }
        sum
    }
}

/// The stock for demand that comes from one of `winters` (not empty), each as likely as another: within a winter worn
/// parts and breaks add up; winters are averaged after that, since all parts share the winter. `service_level` is over
/// 0 and under 1.
pub fn stock(winters: &[WinterDemand], service_level: f64) -> Stock {
    let mean = winters.iter().map(WinterDemand::mean).sum::<f64>() / winters.len() as f64;
    let demands: Vec<Demand> = winters.iter().map(Demand::new).collect();
    let enough = |stock: u64| {
        let sum: f64 = demands.iter().map(|demand| demand.at_most(stock)).sum();
        sum / demands.len() as f64 >= service_level - 1e-12
    };
    // Doubling, then bisection. A mean of at most 1e6 and hours of at most 1e6 times beta, as they are let in, leave less
    // than e^-1e5 over 2^40.
    let mut high = 1;
    while !enough(high) && high < 1 << 40 {
        high *= 2;
    }
    let mut low = 0;
    while low < high {
        let middle = low + (high - low) / 2;
        if enough(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    Stock { stock: low, mean }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The Poisson stock table (MIL-HDBK-338B; Blanchard, Logistics Engineering and Management; values computed): least
    /// stock for mean demand m. A break rate known almost exactly makes demand Poisson.
    #[test]
    fn stock_for_poisson_demand_is_that_of_the_handbooks() {
        let means = [
            0.1, 0.25, 0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0, 20.0,
        ];
        for (level, table) in [
            (0.80, [0, 1, 1, 2, 3, 4, 6, 7, 8, 10, 13, 18, 24]),
            (0.90, [0, 1, 1, 2, 4, 5, 7, 8, 9, 12, 14, 20, 26]),
            (0.95, [1, 1, 2, 3, 5, 6, 8, 9, 10, 13, 15, 22, 28]),
            (0.99, [1, 2, 3, 4, 6, 8, 9, 11, 12, 15, 18, 25, 31]),
        ] {
            for (mean, expected) in means.into_iter().zip(table) {
                let known = BreakRate {
                    alpha: 1e9,
                    beta: 1e9,
                };
                let winter = WinterDemand {
                    wear_out: Vec::new(),
                    breaks: Some(Breaks {
                        rate: known,
                        hours: mean,
                    }),
                };
                let got = stock(&[winter], level);
                assert_eq!(got.stock, expected, "mean {mean} at {level}");
                assert!((got.mean - mean).abs() < 1e-9);
            }
        }
    }

    /// A common winter treated as independent is badly short: sixty belts that all wear out in one winter of four, and
    /// hardly in the others, want all but a few at 95 %, not a quarter of them and some.
    #[test]
    fn parts_share_the_winter() {
        let winter = |chance| WinterDemand {
            wear_out: vec![chance; 60],
            breaks: None,
        };
        let shared = stock(
            &[winter(0.95), winter(0.02), winter(0.02), winter(0.02)],
            0.95,
        );
        let apart = stock(&[winter((0.95 + 3.0 * 0.02) / 4.0)], 0.95);
        assert!((shared.mean - apart.mean).abs() < 1e-9);
        assert_eq!((shared.stock, apart.stock), (58, 21));
    }

    #[test]
    fn nothing_that_can_fail_needs_no_stock() {
        let none = WinterDemand {
            wear_out: vec![0.0; 5],
            breaks: None,
        };
        assert_eq!(
            stock(&[none], 0.99),
            Stock {
                stock: 0,
                mean: 0.0
            }
        );
        let certain = WinterDemand {
            wear_out: vec![1.0; 5],
            breaks: None,
        };
        assert_eq!(stock(&[certain], 0.5).stock, 5);
    }

    /// Two groups that share a rate are one with the hours of both; that do not, nearly what their exact sum wants: of twenty
    /// and of ten breaks in the mean, enumerated.
    #[test]
    fn breaks_of_several_groups_add_up() {
        let group = |alpha: f64, hours: f64| Breaks {
            rate: BreakRate { alpha, beta: 60.0 },
            hours,
        };
        let (one, other) = (group(2.0, 600.0), group(4.0, 150.0));
        assert_eq!(Breaks::together([]), None);
        assert_eq!(Breaks::together([one, group(9.0, 0.0)]), Some(one));
        let both = Breaks::together([one, other]).unwrap();
        assert!((both.mean() - 30.0).abs() < 1e-9);
        let law = |of: Breaks| -> Vec<f64> {
            let winter = WinterDemand {
                wear_out: Vec::new(),
                breaks: Some(of),
            };
            let demand = Demand::new(&winter);
            let mut last = 0.0;
            (0..2_000)
                .map(|k| {
                    let sum = demand.at_most(k);
                    sum - std::mem::replace(&mut last, sum)
                })
                .collect()
        };
        let (first, second) = (law(one), law(other));
        for level in [0.8, 0.95, 0.99] {
            let mut sum = 0.0;
            let exact = (0..2_000_usize).find(|most| {
                sum += (0..=*most)
                    .map(|k| first[k] * second[most - k])
                    .sum::<f64>();
                sum >= level
            });
            let winter = WinterDemand {
                wear_out: Vec::new(),
                breaks: Some(both),
            };
            let (got, exact) = (stock(&[winter], level).stock as f64, exact.unwrap() as f64);
            assert!(
                (got / exact - 1.0).abs() <= 0.03,
                "{level}: {got}, exactly {exact}"
            );
        }
    }
}
