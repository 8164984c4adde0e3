//! The likelihood of lives at one shape k, with L = scale^-k at its best there:
//!
//! r ln(k L) + sum of (k - 1) ln x over dated failures - L sum(x^k - e^k) + sum of ln(1 - exp(-L (found^k - sound^k))).

use super::root::{Slope, rising_root};
use super::span::{Power, Span};
use super::{FoundFailed, History, Unfit};

/// Lives, as far as their likelihood needs them.
#[derive(Debug, Clone)]
pub(in crate::life) struct Lives {
    /// What ages are counted in: the greatest to which a part was seen sound.
    pub(super) unit: f64,
    /// From entry to where it was last known sound.
    sound: Vec<Span>,
    /// From there to where it was found failed.
    between: Vec<Span>,
    /// Dated failures.
    pub(super) dated: f64,
    /// Sum of their ln(x / unit), and of their ln x.
    ln_over_unit: f64,
    ln_ages: f64,
    /// All lives.
    pub(super) histories: usize,
    /// Whether a life was seen from an age over 0 on only.
    begins_late: bool,
}

/// The likelihood at a shape.
#[derive(Debug, Clone, Copy)]
pub(in crate::life) struct Profile {
    /// ln L at its best, ages in units.
    pub(super) ln_rate: f64,
    /// Logarithm of the likelihood with all constants.
    pub log_likelihood: f64,
    /// Slope by the shape.
    pub(super) slope: f64,
    /// Second slopes: by the shape, by both, by ln L.
    pub(super) curvature: [f64; 3],
}

impl Lives {
    /// # Errors
    /// Why no shape can be fitted to them, as far as that shows at once.
    pub fn new(histories: &[History], found_failed: &[FoundFailed]) -> Result<Self, Unfit> {
        let ages = || {
            let dated = histories.iter().map(|life| (life.entry, life.exit));
            dated.chain(found_failed.iter().map(|life| (life.entry, life.sound)))
        };
        let unit = ages()
            .filter(|(from, to)| from < to)
            .map(|(_, to)| to)
            .fold(0.0, f64::max);
        let mut lives = Lives {
            unit,
            sound: Vec::with_capacity(histories.len() + found_failed.len()),
            between: Vec::with_capacity(found_failed.len()),
            dated: 0.0,
            ln_over_unit: 0.0,
            ln_ages: 0.0,
            histories: histories.len() + found_failed.len(),
            begins_late: false,
        };
        lives.check(histories, found_failed)?;
        lives
            .sound
            .extend(ages().filter_map(|(from, to)| Span::new(from, to, unit)));
        lives.begins_late = lives.sound.iter().any(|span| span.begins_late());
        for life in found_failed {
            lives
                .between
                .extend(Span::new(life.sound, life.found, unit));
        }
        for age in dated_failures(histories, found_failed) {
            lives.dated += 1.0;
            lives.ln_ages += age.ln();
            lives.ln_over_unit += (age / unit).ln();
        }
        Ok(lives)
    }

    fn check(&self, histories: &[History], found_failed: &[FoundFailed]) -> Result<(), Unfit> {
        let dated = || dated_failures(histories, found_failed);
        if dated().next().is_none() && found_failed.is_empty() {
            return Err(Unfit::NoFailures);
        }
        if dated().any(|age| age <= 0.0) {
            return Err(Unfit::FailedAsNew);
        }
        if self.unit <= 0.0 {
            return Err(Unfit::NeverSound);
        }
        // While no part was sound at an age over that by which another had failed, all may have failed at one age to the
        // hour: a shape without end.
        let found = found_failed.iter().map(|life| life.found);
        let failed = dated().chain(found).fold(f64::INFINITY, f64::min);
        if self.unit <= failed {
            return Err(Unfit::NoneOutlasted);
        }
        Ok(())
    }

    /// Failures, dated or found.
    pub fn failures(&self) -> f64 {
        self.dated + self.between.len() as f64
    }

    /// Whether the likelihood has one top for certain: it is concave in ln(k L) and k without failures found (since
    /// x^k - e^k is k times the integral of exp(k v) over ln ages v), and in ln L and k without late entries (Prekopa's
    /// theorem, the density of ln x being log-concave).
    pub(super) fn has_one_top(&self) -> bool {
        self.between.is_empty() || !self.begins_late
    }

    /// The likelihood at a shape, with the scale at its best.
    pub fn profile(&self, shape: f64) -> Profile {
        // Sum of the powers and of their slopes by the shape.
        let mut sound = [0.0; 3];
        for span in &self.sound {
            let power = span.power(shape);
            let value = power.ln.exp();
            sound[0] += value;
            sound[1] += value * power.first;
            sound[2] += value * power.second;
        }
        let between: Vec<Power> = self.between.iter().map(|span| span.power(shape)).collect();
        let ln_rate = self.best_ln_rate(sound[0].ln(), &between);
        let exposed = sound.map(|sum| ln_rate.exp() * sum);
        let mut log_likelihood = self.dated * (shape.ln() + ln_rate) + shape * self.ln_over_unit
            - self.ln_ages
            - exposed[0];
        let mut slope = self.dated / shape + self.ln_over_unit - exposed[1];
        let mut curvature = [
            -self.dated / (shape * shape) - exposed[2],
            -exposed[1],
            -exposed[0],
        ];
        for power in &between {
            let failed = Failed::at(ln_rate + power.ln);
            log_likelihood += failed.ln_chance;
            slope += failed.slope * power.first;
            let across = failed.curvature * power.first;
            curvature[0] +=
                across * power.first + failed.slope * (power.second - power.first * power.first);
            curvature[1] += across;
            curvature[2] += failed.curvature;
        }
        Profile {
            ln_rate,
            log_likelihood,
            slope,
            curvature,
        }
    }

    /// The ln L at which the likelihood's slope by it, r - L A + sum of h(L c), comes to 0: h falls from 1 to 0.
    fn best_ln_rate(&self, ln_exposed: f64, between: &[Power]) -> f64 {
        let most = self.failures().ln() - ln_exposed;
        if between.is_empty() {
            return most;
        }
        // In L by the most it can be: h(x) >= 1 - x/2 and h(x) >= 1 - x/2 for each, so at least 1 / (1 + sum(c) / 2 A).
        let found: f64 = between
            .iter()
            .map(|power| (power.ln - ln_exposed).exp())
            .sum();
        let least = (1.0 / (1.0 + 0.5 * found)).max(self.dated / self.failures());
        let fall = |share: f64| {
            let rate = most + share.ln();
            let mut value = self.failures() * share - self.dated;
            let mut slope = self.failures();
            for power in between {
                let failed = Failed::at(rate + power.ln);
                value -= failed.slope;
                slope -= failed.curvature / share;
            }
            Slope { value, slope }
        };
        let least = least.max(f64::MIN_POSITIVE) * (1.0 - 1e-9);
        most + rising_root(least, 1.0 + 1e-9, least, fall).ln()
    }
}

/// Ages of dated failures; a part found failed at the age at which it was sound is dated.
fn dated_failures<'a>(
    histories: &'a [History],
    found_failed: &'a [FoundFailed],
) -> impl Iterator<Item = f64> + 'a {
    let dated = histories.iter().filter(|life| life.failed);
    let at_once = found_failed.iter().filter(|life| life.found <= life.sound);
    dated
        .map(|life| life.exit)
        .chain(at_once.map(|life| life.found))
}

/// ln(1 - e^-x) of a failure somewhere between two ages, x = L c, and its slopes by ln x.
struct Failed {
    ln_chance: f64,
    slope: f64,
    curvature: f64,
}

impl Failed {
    fn at(ln_x: f64) -> Self {
        let x = ln_x.exp();
        if x > 700.0 {
            return Failed {
                ln_chance: 0.0,
                slope: 0.0,
                curvature: 0.0,
            };
        }
        if x < 1e-8 {
            // x may itself be too small to be held.
            return Failed {
                ln_chance: ln_x - 0.5 * x,
                slope: 1.0 - 0.5 * x,
                curvature: -0.5 * x,
            };
        }
        let slope = x / x.exp_m1();
        Failed {
            ln_chance: (-(-x).exp_m1()).ln(),
            slope,
            curvature: slope * (1.0 - x - slope),
        }
    }
}
