//! Running hours to come (section 3 of the computation): how long a machine will run on so many days of use, given how
//! long it ran on past ones.
//!
//! Hours on e days are Gamma(shape k e, rate theta) with theta ~ Gamma(a, b), so hours to come over b are
//! BetaPrime(k e, a). A [`HoursTable`] is that distribution, mixed over scenarios of how many days there will be, on
//! nodes that every part of a machine shares.

use crate::special::{
    Beta, beta_log_odds_quantile, beta_tails, digamma, ln_beta, normal_density, trigamma,
};

/// What is known of a model's use before any hours of a machine are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsagePrior {
    /// Shape k of the hours of one day of use, over 0; 1 unless the sheet says otherwise.
    pub shape: f64,
    /// How many days of use n0 the prior is worth, over 0.
    pub prior_days: f64,
    /// Mean running hours r0 on one such day, over 0.
    pub prior_hours_per_day: f64,
}

/// How a machine is used: the Gamma(a, b) distribution of its rate theta.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usage {
    prior: UsagePrior,
    /// Hours the machine ran, and on how many days of use.
    so_far: (f64, f64),
    shape: f64,
    /// Days of use that a and b stand on: the prior's and the machine's.
    days: f64,
    a: f64,
    b: f64,
}

impl Usage {
    /// The use of a machine that ran `run_hours` on `snow_days` days, both at least 0; hours on no days are taken as
    /// they are.
    pub fn new(prior: &UsagePrior, run_hours: f64, snow_days: f64) -> Self {
        let days = prior.prior_days + snow_days;
        Usage {
            prior: *prior,
            so_far: (run_hours, snow_days),
            shape: prior.shape,
            days,
            a: prior.shape * days + 1.0,
            b: prior.prior_days * prior.prior_hours_per_day + run_hours,
        }
    }

    /// What it was made from: the prior, the hours run, and on how many days of use.
    pub fn made_from(&self) -> (UsagePrior, f64, f64) {
        (self.prior, self.so_far.0, self.so_far.1)
    }

    /// Mean running hours a day of use, k b / (a - 1): all hours over all days.
    pub fn hours_per_day(&self) -> f64 {
        self.b / self.days
    }

    /// Shape k, and a and b of the distribution of theta.
    pub(crate) fn parameters(&self) -> (f64, f64, f64) {
        (self.shape, self.a, self.b)
    }

    /// P(hours on `days` days to come <= `hours`).
    pub fn at_most(&self, days: f64, hours: f64) -> f64 {
        if hours < 0.0 {
            0.0
        } else if days <= 0.0 {
            1.0
        } else {
            let total = hours + self.b;
            beta_tails(self.shape * days, self.a, hours / total, self.b / total).0
        }
    }

    /// The hours that use on `days` days to come stays under with chance `p`, 0 to 1.
    pub fn quantile(&self, days: f64, p: f64) -> f64 {
        if days <= 0.0 {
            0.0
        } else {
            self.b * beta_log_odds_quantile(self.shape * days, self.a, p).exp()
        }
    }

    /// The distribution of hours to come where each of `scenarios`, days of use to come, is as likely as another. With no
    /// scenario there is nothing to come.
    pub fn table(&self, scenarios: &[f64]) -> HoursTable {
        HoursTable::new(self, scenarios)
    }
}

/// The distribution of hours to come, discretised.
///
/// With t = ln(hours / b), the density of each scenario falls off exponentially on both sides and is analytic, so the
/// trapezoid rule converges geometrically (Trefethen & Weideman, The Exponentially Convergent Trapezoidal Rule, 2014).
/// Left of a knee the nodes spread out exponentially, t = u - exp(knee - u), which makes the long left tail of small
/// shapes end quickly.
#[derive(Debug, Clone)]
pub struct HoursTable {
    usage: Usage,
    /// Shape k e and weight of each scenario with days in it, ascending, equal ones joined.
    shapes: Vec<(f64, f64)>,
    /// P(no hours at all).
    none: f64,
    lattice: Lattice,
}

/// Nodes and weights of the hours to come, without the mass at none.
#[derive(Debug, Clone, Default)]
struct Lattice {
    hours: Vec<f64>,
    weights: Vec<f64>,
    step: f64,
    knee: f64,
    /// Least standard deviation of the logarithm of hours among the scenarios.
    narrowest: f64,
}

impl HoursTable {
    fn new(usage: &Usage, scenarios: &[f64]) -> Self {
        let share = 1.0 / scenarios.len().max(1) as f64;
        let mut days: Vec<f64> = scenarios.iter().copied().filter(|e| *e > 0.0).collect();
        days.sort_unstable_by(f64::total_cmp);
        let mut shapes: Vec<(f64, f64)> = Vec::with_capacity(days.len());
        for e in &days {
            let shape = usage.shape * e;
            match shapes.last_mut() {
                Some(last) if last.0 == shape => last.1 += share,
                _ => shapes.push((shape, share)),
            }
        }
        let none = if scenarios.is_empty() {
            1.0
        } else {
            (scenarios.len() - days.len()) as f64 * share
        };
        let mut table = HoursTable {
            usage: *usage,
            shapes,
            none,
            lattice: Lattice::default(),
        };
        if let (Some(first), Some(last)) = (table.shapes.first(), table.shapes.last()) {
            let narrowest = (trigamma(last.0) + trigamma(usage.a)).sqrt();
            // Half the narrowest spread resolves the densities to 1e-15; a tenth also resolves most parts' wear.
            let step = (0.5 * narrowest).min(0.1);
            let smallest = first.0.max(1.0);
            let spread = (trigamma(smallest) + trigamma(usage.a)).sqrt();
            // The bend must not reach the densities' middle: at most half their spread there, or a narrow one (hundreds of
            // days) would be missed whole.
            let below = (2.0 * spread).max((2.0 / spread).ln());
            let knee = digamma(smallest) - digamma(usage.a) - below;
            table.lattice = table.build(step, knee);
        }
        table
    }

    /// P(no hours at all).
    pub fn none(&self) -> f64 {
        self.none
    }

    /// P(hours to come <= `hours`), exactly.
    pub fn at_most(&self, hours: f64) -> f64 {
        self.distribution()(hours)
    }

    /// The same for many hours.
    fn distribution(&self) -> impl Fn(f64) -> f64 {
        let Usage { a, b, .. } = self.usage;
        let beta = |(shape, weight): &(f64, f64)| (*shape, *weight, Beta::new(*shape, a));
        // From the largest shape down, since neighbours share work: I_x(k, a) = I_x(k + 1, a) + x^k y^a / (k B(k, a)), and
        // each of these terms is the one above times (k + 1) / (x (k + a)).
        let shapes: Vec<(f64, f64, Beta)> = self.shapes.iter().rev().map(beta).collect();
        let none = self.none;
        move |hours| {
            if hours < 0.0 {
                return 0.0;
            }
            if hours == f64::INFINITY {
                return 1.0;
            }
            let (x, y) = (hours / (hours + b), b / (hours + b));
            let mut shape_now = f64::INFINITY;
            let (mut below, mut term) = (0.0, 0.0);
            let mut sum = 0.0;
            for (shape, weight, beta) in &shapes {
                let steps = shape_now - shape;
                if steps <= 40.0 && steps.fract() == 0.0 && term > 1e-250 {
                    while shape_now > *shape {
                        shape_now -= 1.0;
                        below += term;
                        term *= shape_now / (x * (shape_now - 1.0 + a));
                    }
                } else {
                    shape_now = *shape;
                    below = beta.tails(x, y).0;
                    // x^(k-1) y^a / ((k-1) B(k-1, a)) is that of k over x (k + a - 1).
                    let next = shape_now - 1.0;
                    term = if next > 0.0 {
                        beta.power(x, y) / (x * (next + a))
                    } else {
                        0.0
                    };
                }
                sum += weight * below;
            }
            (none + sum).min(1.0)
        }
    }

    /// Mean hours to come.
    pub fn mean(&self) -> f64 {
        let shape: f64 = self
            .shapes
            .iter()
            .map(|(shape, weight)| shape * weight)
            .sum();
        shape / self.usage.shape * self.usage.hours_per_day()
    }

    /// The mean of `survival`(hours) over the hours to come, for a chance that is smooth in the logarithm of hours and,
    /// between two points, least at one of them.
    pub fn average(&self, survival: impl Fn(f64) -> f64) -> f64 {
        /// Short of certain by less than is worth a node.
        const CERTAIN: f64 = 1.0 - 1e-14;
        let lattice = &self.lattice;
        let now = survival(0.0);
        let (mut sum, mut left) = (0.0, 1.0);
        for (hours, weight) in lattice.hours.iter().zip(&lattice.weights).rev() {
            let then = survival(*hours);
            if then > CERTAIN && now > CERTAIN {
                // So it is at all nodes that are left, which are most of them.
                return sum + left;
            }
            sum += weight * then;
            left -= weight;
        }
        sum + self.none * now
    }

    /// Hours that are exceeded with a chance under 1e-7.
    pub(crate) fn nearly_most(&self) -> f64 {
        let mut above = 0.0;
        for (hours, weight) in self.lattice.hours.iter().zip(&self.lattice.weights).rev() {
            above += weight;
            if above >= 1e-7 {
                return *hours;
            }
        }
        0.0
    }

    /// Hours and weights of fewer nodes, the mass at none among them: one for about a standard deviation of their logarithm,
    /// at most one for each third of the bend's own scale, none for what hardly ever happens. There the trapezoid rule still
    /// has some five digits of the mean of what changes little over such a step, like the life of a part (tested).
    pub(crate) fn coarse(&self) -> Vec<(f64, f64)> {
        /// Weight under which a node is left out: all of them together are under the fifth digit.
        const NEGLIGIBLE: f64 = 1e-7;
        let lattice = &self.lattice;
        let stride = if lattice.step > 0.0 {
            ((lattice.narrowest.min(0.35) / lattice.step) as usize).max(1)
        } else {
            1
        };
        let nodes = lattice.hours.iter().zip(&lattice.weights).step_by(stride);
        let nodes = nodes.filter(|(_, weight)| **weight > NEGLIGIBLE * (1.0 - self.none));
        let total: f64 = nodes.clone().map(|node| node.1).sum();
        let scale = if total > 0.0 {
            (1.0 - self.none) / total
        } else {
            0.0
        };
        let mut coarse: Vec<(f64, f64)> = nodes
            .map(|(hours, weight)| (*hours, weight * scale))
            .collect();
        if self.none > 0.0 {
            coarse.push((0.0, self.none));
        }
        coarse
    }

    /// The mean over hours to come H of P(T > H), where P(T > h) is a smooth step from about 1 to about 0 around
    /// `middle`, `width` hours wide (one standard deviation): `survival`(h) is P(T > h), `crossing`(z) the h at which
    /// it is the normal distribution function of z.
    ///
    /// A step that is wide against the nodes is averaged over the hours; a narrow one over the crossing, against the
    /// exact distribution of hours; between the two on finer nodes.
    pub(crate) fn average_step(
        &self,
        middle: f64,
        width: f64,
        survival: impl Fn(f64) -> f64,
        crossing: impl Fn(f64) -> f64,
    ) -> f64 {
        if self.shapes.is_empty() {
            return survival(0.0);
        }
        let place = middle.max(width);
        let relative = width / place;
        let t = (place / self.usage.b).ln();
        let lattice = &self.lattice;
        let local = lattice.step * (1.0 + (lattice.knee - t).max(0.0));
        if relative >= 1.1 * local {
            return self.average(survival);
        }
        if relative < 0.11 {
            return self.average_over_crossing(crossing);
        }
        let finer = HoursTable {
            lattice: self.build(0.8 * relative.min(lattice.step), lattice.knee.min(t - 1.0)),
            ..self.clone()
        };
        finer.average(survival)
    }

    /// E[P(H < T)], T the crossing, by the trapezoid rule in z.
    fn average_over_crossing(&self, crossing: impl Fn(f64) -> f64) -> f64 {
        // A step is narrow against the distribution of hours, which so stays smooth along it.
        const STEP: f64 = 0.7;
        let at_most = self.distribution();
        let mut sum = 0.0;
        let mut total = 0.0;
        for i in -11..=11 {
            let z = STEP * f64::from(i);
            let weight = normal_density(z);
            total += weight;
            sum += weight * at_most(crossing(z));
        }
        sum / total
    }

    fn build(&self, step: f64, knee: f64) -> Lattice {
        /// No table is longer, whatever its input.
        const NODES_MAX: usize = 100_000;
        /// Weight under which a node is left out.
        const NEGLIGIBLE: f64 = 1e-14;
        let Usage { a, b, .. } = self.usage;
        let terms: Vec<(f64, f64)> = self
            .shapes
            .iter()
            .map(|(shape, weight)| (*shape, weight.ln() - ln_beta(*shape, a)))
            .collect();
        let weight_at = |u: f64| {
            let bend = (knee - u).exp();
            let t = u - bend;
            // Logarithms of x = 1/(1 + e^-t) and 1 - x, also where x is less than any number.
            let small = (-t.abs()).exp();
            let (odds, more) = (if t < 0.0 { small } else { 1.0 / small }, small.ln_1p());
            let (ln_x, ln_y) = (t.min(0.0) - more, -t.max(0.0) - more);
            let mut density = 0.0;
            for (shape, constant) in &terms {
                let exponent = constant + shape * ln_x + a * ln_y;
                if exponent > -40.0 {
                    density += exponent.exp();
                }
            }
            (b * odds, density * step * (1.0 + bend))
        };
        let first = self.shapes.first().map_or(1.0, |s| s.0);
        let last = self.shapes.last().map_or(1.0, |s| s.0);
        let low = digamma(first.max(1.0)) - digamma(a);
        let high = digamma(last.max(1.0)) - digamma(a);
        // Under this hardly anything is left: the tail of the smallest shape is at most exponential. Small shapes have
        // little weight near the knee, and much of it far to the left.
        let least = (NEGLIGIBLE.ln() + first.ln() + ln_beta(first, a)) / first;
        let mut below = Vec::new();
        let mut u = low;
        while below.len() < NODES_MAX {
            u -= step;
            let node = weight_at(u);
            let ends = first >= 1.0 && node.1 < NEGLIGIBLE;
            if ends || u - (knee - u).exp() < least {
                break;
            }
            below.push(node);
        }
        below.reverse();
        let mut nodes = below;
        let mut u = low;
        while nodes.len() < NODES_MAX {
            let node = weight_at(u);
            if node.1 < NEGLIGIBLE && u > high {
                break;
            }
            nodes.push(node);
            u += step;
        }
        let sum: f64 = nodes.iter().map(|node| node.1).sum();
        let scale = (1.0 - self.none) / sum;
        Lattice {
            hours: nodes.iter().map(|node| node.0).collect(),
            weights: nodes.iter().map(|node| node.1 * scale).collect(),
            step,
            knee,
            narrowest: (trigamma(last.max(f64::MIN_POSITIVE)) + trigamma(a)).sqrt(),
        }
    }
}

mod about;
#[cfg(test)]
mod tests;
