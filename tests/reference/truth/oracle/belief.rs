//! What the forecaster believes of a part's measure, by its readings.

use statrs::function::erf::erfc;

use super::super::depot::{Case, Depot};
use super::super::figures::Wear;
use super::super::machine::{Fitted, Machine, bent};

/// Where a measure stands: mean and covariance of (start, rate), the start mirrored so that it falls.
#[derive(Debug, Clone, Copy)]
pub struct Belief {
    mean: [f64; 2],
    covariance: [[f64; 2]; 2],
    ln_evidence: f64,
}

/// What is believed of a part's measure after its readings, one after the other (Kalman 1960); each kind of batch by
/// itself.
pub fn beliefs(
    case: &Case,
    depot: &Depot,
    machine: &Machine,
    part: &Fitted,
    wear: &Wear,
) -> Vec<(f64, Belief)> {
    let kinds = match case.twist.bad_batches {
        Some((share, times)) => vec![(1.0 - share, 1.0), (share, times)],
        None => vec![(1.0, 1.0)],
    };
    let of_kind = kinds.into_iter().map(|(share, times)| {
        let times = times * depot.times;
        let mut belief = Belief {
            mean: [-wear.way * wear.as_new, wear.rate * times],
            covariance: [
                [wear.as_new_sd.powi(2), 0.0],
                [0.0, (wear.rate_sd * times).powi(2)],
            ],
            ln_evidence: f64::ln(share),
        };
        for reading in part.readings.iter().filter(|one| one.day >= machine.since) {
            let old = bent(
                reading.hours - part.hours,
                case.twist.bend,
                wear.usual_hours(),
            );
            let variance = wear.reading_sd.powi(2) / f64::from(reading.repeats);
            belief.see(-wear.way * reading.value, old, variance);
        }
        belief
    });
    let beliefs: Vec<Belief> = of_kind.collect();
    let top = beliefs
        .iter()
        .map(|belief| belief.ln_evidence)
        .fold(f64::NEG_INFINITY, f64::max);
    let total: f64 = beliefs
        .iter()
        .map(|belief| (belief.ln_evidence - top).exp())
        .sum();
    let weight = |belief: &Belief| (belief.ln_evidence - top).exp() / total;
    beliefs
        .iter()
        .map(|belief| (weight(belief), *belief))
        .collect()
}

impl Belief {
    fn see(&mut self, value: f64, old: f64, variance: f64) {
        let [[aa, ab], [_, bb]] = self.covariance;
        // The reading is start - old x rate.
        let with = [aa - old * ab, ab - old * bb];
        let total = with[0] - old * with[1] + variance;
        let off = value - (self.mean[0] - old * self.mean[1]);
        let gain = [with[0] / total, with[1] / total];
        self.mean = [self.mean[0] + gain[0] * off, self.mean[1] + gain[1] * off];
        self.covariance = [
            [aa - gain[0] * with[0], ab - gain[0] * with[1]],
            [ab - gain[0] * with[1], bb - gain[1] * with[1]],
        ];
        self.ln_evidence -= 0.5 * (total.ln() + off * off / total);
    }

    /// The chance that it is over `limit` at an age.
    pub fn over(&self, limit: f64, old: f64) -> f64 {
        let [[aa, ab], [_, bb]] = self.covariance;
        let mean = self.mean[0] - old * self.mean[1] - limit;
        let variance = aa - 2.0 * old * ab + old * old * bb;
        0.5 * erfc(-mean / (2.0 * variance).sqrt())
    }
}
