//! Running hours to come (section 3 of the computation): how long a machine will run on so many days of use, given how
//! long it ran on past ones.
//!
//! Hours on e days are Gamma(shape k e, rate theta) with theta ~ Gamma(a, b), so hours to come over b are
//! BetaPrime(k e, a). A [`HoursTable`] is that distribution, mixed over scenarios of how many days there will be, until
//! one or several days, on nodes that all of these and every part of a machine share.

use std::array;

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
        self.tables([scenarios])
    }

    /// The same until each of several days.
    pub fn tables<const N: usize>(&self, scenarios: [&[f64]; N]) -> HoursTable<N> {
        HoursTable::new(self, scenarios)
    }
}

/// The distributions of hours to come until each of N days, discretised.
///
/// With t = ln(hours / b), the density of each scenario falls off exponentially on both sides and is analytic, so the
/// trapezoid rule converges geometrically (Trefethen & Weideman, The Exponentially Convergent Trapezoidal Rule, 2014).
/// Left of a knee the nodes spread out exponentially, t = u - exp(knee - u), which makes the long left tail of small
/// shapes end quickly.
#[derive(Debug, Clone)]
pub struct HoursTable<const N: usize = 1> {
    usage: Usage,
    until: [Mixture; N],
    lattice: Lattice<N>,
}

/// The scenarios of one of these days.
#[derive(Debug, Clone)]
struct Mixture {
    /// Shape k e and weight of each scenario with days in it, ascending, equal ones joined.
    shapes: Vec<(f64, f64)>,
    /// P(no hours at all).
    none: f64,
}

impl Mixture {
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
        Mixture { shapes, none }
    }

    /// Of each shape k, weight and all, the logarithm of what x^k y^a is multiplied by in the density of ln hours.
    fn terms(&self, a: f64) -> Vec<(f64, f64)> {
        let shapes = self.shapes.iter();
        shapes
            .map(|(shape, weight)| (*shape, weight.ln() - ln_beta(*shape, a)))
            .collect()
    }
}

/// The density of such terms, of ln x and ln y.
fn density(terms: &[(f64, f64)], a: f64, ln_x: f64, ln_y: f64) -> f64 {
    let of_y = a * ln_y;
    let terms = terms
        .iter()
        .map(|(shape, constant)| constant + shape * ln_x + of_y);
    terms.filter(|term| *term > -40.0).map(f64::exp).sum()
}

/// Hours to come, and how likely they are until each day.
#[derive(Debug, Clone)]
pub(crate) struct Node<const N: usize> {
    pub(crate) hours: f64,
    pub(crate) weights: [f64; N],
}

/// Nodes of the hours to come, ascending, without the mass at none.
#[derive(Debug, Clone)]
struct Lattice<const N: usize> {
    nodes: Vec<Node<N>>,
    step: f64,
    knee: f64,
    /// Least standard deviation of the logarithm of hours among the scenarios.
    narrowest: f64,
}

impl<const N: usize> HoursTable<N> {
    fn new(usage: &Usage, scenarios: [&[f64]; N]) -> Self {
        let until = scenarios.map(|scenarios| Mixture::new(usage, scenarios));
        let mut table = HoursTable {
            usage: *usage,
            until,
            lattice: Lattice {
                nodes: Vec::new(),
                step: 0.0,
                knee: 0.0,
                narrowest: 0.0,
            },
        };
        if let Some((first, last)) = table.extremes() {
            let narrowest = (trigamma(last) + trigamma(usage.a)).sqrt();
            // Half the narrowest spread resolves the densities to 1e-15; a tenth also resolves most parts' wear.
            let step = (0.5 * narrowest).min(0.1);
            let smallest = first.max(1.0);
            let spread = (trigamma(smallest) + trigamma(usage.a)).sqrt();
            // The bend must not reach the densities' middle: at most half their spread there, or a narrow one (hundreds of
            // days) would be missed whole.
            let below = (0.5 * spread).max((2.0 / spread).ln());
            let knee = digamma(smallest) - digamma(usage.a) - below;
            table.lattice = table.build(step, knee);
        }
        table
    }

    /// The least and the largest shape of all, if there is any.
    fn extremes(&self) -> Option<(f64, f64)> {
        let shapes = self.until.iter().map(|until| &until.shapes);
        let ends = shapes.filter_map(|shapes| Some((shapes.first()?.0, shapes.last()?.0)));
        ends.reduce(|(first, last), ends| (first.min(ends.0), last.max(ends.1)))
    }

    /// P(no hours at all).
    pub fn none(&self) -> [f64; N] {
        array::from_fn(|day| self.until[day].none)
    }

    /// P(hours to come <= `hours`), exactly.
    pub fn at_most(&self, hours: f64) -> [f64; N] {
        array::from_fn(|day| self.distribution(day)(hours))
    }

    /// The same until one of the days for many hours.
    fn distribution(&self, day: usize) -> impl Fn(f64) -> f64 {
        let Usage { a, b, .. } = self.usage;
        let Mixture { shapes, none } = &self.until[day];
        let beta = |(shape, weight): &(f64, f64)| (*shape, *weight, Beta::new(*shape, a));
        // From the largest shape down, since neighbours share work: I_x(k, a) = I_x(k + 1, a) + x^k y^a / (k B(k, a)), and
        // each of these terms is the one above times (k + 1) / (x (k + a)).
        let shapes: Vec<(f64, f64, Beta)> = shapes.iter().rev().map(beta).collect();
        let none = *none;
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
                    let power;
                    (below, _, power) = beta.tails_and_power(x, y);
                    // x^(k-1) y^a / ((k-1) B(k-1, a)) is that of k over x (k + a - 1).
                    let next = shape_now - 1.0;
                    term = if next > 0.0 {
                        power / (x * (next + a))
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
    pub fn mean(&self) -> [f64; N] {
        array::from_fn(|day| {
            let shapes = self.until[day].shapes.iter();
            let shape: f64 = shapes.map(|(shape, weight)| shape * weight).sum();
            shape / self.usage.shape * self.usage.hours_per_day()
        })
    }

    /// The mean of `survival`(hours) over the hours to come, for a chance that is smooth in the logarithm of hours and,
    /// between two points, least at one of them.
    pub fn average(&self, survival: impl Fn(f64) -> f64) -> [f64; N] {
        /// Short of certain by less than is worth a node.
        const CERTAIN: f64 = 1.0 - 1e-12;
        let now = survival(0.0);
        let (mut sums, mut left) = ([0.0; N], [1.0; N]);
        for Node { hours, weights } in self.lattice.nodes.iter().rev() {
            let then = survival(*hours);
            if then > CERTAIN && now > CERTAIN {
                // So it is at all nodes that are left, which are most of them.
                return array::from_fn(|day| sums[day] + left[day]);
            }
            for day in 0..N {
                sums[day] += weights[day] * then;
                left[day] -= weights[day];
            }
        }
        array::from_fn(|day| sums[day] + self.until[day].none * now)
    }

    /// Hours that are exceeded with a chance under 1e-7.
    pub(crate) fn nearly_most(&self) -> [f64; N] {
        array::from_fn(|day| {
            let mut above = 0.0;
            let mut nodes = self.lattice.nodes.iter().rev();
            let most = nodes.find(|node| {
                above += node.weights[day];
                above >= 1e-7
            });
            most.map_or(0.0, |node| node.hours)
        })
    }

    /// Fewer nodes, the mass at none among them: one for about a standard deviation of the logarithm of hours, at most one for
    /// each third of the bend's own scale, none for what hardly ever happens. There the trapezoid rule still has some five
    /// digits of the mean of what changes little over such a step, like the life of a part (tested).
    pub(crate) fn coarse(&self) -> Vec<Node<N>> {
        /// Weight under which a node is left out: all of them together are under the fifth digit.
        const NEGLIGIBLE: f64 = 1e-7;
        let lattice = &self.lattice;
        let stride = if lattice.step > 0.0 {
            ((lattice.narrowest.min(0.35) / lattice.step) as usize).max(1)
        } else {
            1
        };
        let some = self.none().map(|none| 1.0 - none);
        let worth = |weights: [f64; N]| {
            array::from_fn(|day| {
                let weight = weights[day];
                if weight > NEGLIGIBLE * some[day] {
                    weight
                } else {
                    0.0
                }
            })
        };
        let mut sums = [0.0; N];
        let mut coarse = Vec::with_capacity(lattice.nodes.len() / stride + 2);
        for node in lattice.nodes.iter().step_by(stride) {
            let weights: [f64; N] = worth(node.weights);
            if weights != [0.0; N] {
                (0..N).for_each(|day| sums[day] += weights[day]);
                coarse.push(Node {
                    hours: node.hours,
                    weights,
                });
            }
        }
        for node in &mut coarse {
            for day in 0..N {
                if sums[day] > 0.0 {
                    node.weights[day] *= some[day] / sums[day];
                }
            }
        }
        if self.none() != [0.0; N] {
            coarse.push(Node {
                hours: 0.0,
                weights: self.none(),
            });
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
    ) -> [f64; N] {
        let lattice = &self.lattice;
        if lattice.nodes.is_empty() {
            return [survival(0.0); N];
        }
        let place = middle.max(width);
        let relative = width / place;
        let t = (place / self.usage.b).ln();
        // The bend w at t solves ln w + w = knee - t, so it is at most ln(1 + e^(knee - t)).
        let left = lattice.knee - t;
        let bend = left.max(0.0) + (-left.abs()).exp().ln_1p();
        let local = lattice.step * (1.0 + bend);
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
    fn average_over_crossing(&self, crossing: impl Fn(f64) -> f64) -> [f64; N] {
        // A step is narrow against the distribution of hours, which so stays smooth along it.
        const STEP: f64 = 0.7;
        let at_most: [_; N] = array::from_fn(|day| self.distribution(day));
        let mut sums = [0.0; N];
        let mut total = 0.0;
        for i in -11..=11 {
            let z = STEP * f64::from(i);
            let weight = normal_density(z);
            total += weight;
            let hours = crossing(z);
            for (sum, at_most) in sums.iter_mut().zip(&at_most) {
                *sum += weight * at_most(hours);
            }
        }
        sums.map(|sum| sum / total)
    }

    fn build(&self, step: f64, knee: f64) -> Lattice<N> {
        /// No table is longer, whatever its input.
        const NODES_MAX: usize = 100_000;
        /// Most tables have no more.
        const NODES_USUAL: usize = 160;
        /// Weight under which a node is left out.
        const NEGLIGIBLE: f64 = 1e-14;
        let Usage { a, b, .. } = self.usage;
        let terms: [Vec<(f64, f64)>; N] = array::from_fn(|day| self.until[day].terms(a));
        // The bend of a node, exp(knee - u), is that of its neighbour times the same factor.
        let node_at = |u: f64, bend: f64| {
            let t = u - bend;
            // Logarithms of x = 1/(1 + e^-t) and 1 - x, also where x is less than any number.
            let small = (-t.abs()).exp();
            let (odds, more) = (if t < 0.0 { small } else { 1.0 / small }, small.ln_1p());
            let (ln_x, ln_y) = (t.min(0.0) - more, -t.max(0.0) - more);
            let length = step * (1.0 + bend);
            Node {
                hours: b * odds,
                weights: array::from_fn(|day| length * density(&terms[day], a, ln_x, ln_y)),
            }
        };
        let negligible = |node: &Node<N>| node.weights.iter().all(|weight| *weight < NEGLIGIBLE);
        let (first, last) = self.extremes().unwrap_or((1.0, 1.0));
        let low = digamma(first.max(1.0)) - digamma(a);
        let high = digamma(last.max(1.0)) - digamma(a);
        // Under this hardly anything is left: the tail of the smallest shape is at most exponential. Small shapes have
        // little weight near the knee, and much of it far to the left.
        let least = (NEGLIGIBLE.ln() + first.ln() + ln_beta(first, a)) / first;
        let mut nodes = Vec::with_capacity(NODES_USUAL);
        let (mut u, mut bend) = (low, (knee - low).exp());
        let factor = step.exp();
        while nodes.len() < NODES_MAX {
            (u, bend) = (u - step, bend * factor);
            let node = node_at(u, bend);
            let ends = first >= 1.0 && negligible(&node);
            if ends || u - bend < least {
                break;
            }
            nodes.push(node);
        }
        nodes.reverse();
        let (mut u, mut bend) = (low, (knee - low).exp());
        while nodes.len() < NODES_MAX {
            let node = node_at(u, bend);
            if negligible(&node) && u > high {
                break;
            }
            nodes.push(node);
            (u, bend) = (u + step, bend / factor);
        }
        for day in 0..N {
            let sum: f64 = nodes.iter().map(|node| node.weights[day]).sum();
            if sum > 0.0 {
                let scale = (1.0 - self.until[day].none) / sum;
                nodes.iter_mut().for_each(|node| node.weights[day] *= scale);
            }
        }
        Lattice {
            nodes,
            step,
            knee,
            narrowest: (trigamma(last.max(f64::MIN_POSITIVE)) + trigamma(a)).sqrt(),
        }
    }
}

mod about;
#[cfg(test)]
mod tests;
