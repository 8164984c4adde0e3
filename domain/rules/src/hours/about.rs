//! Means over hours of what changes fast somewhere.

use super::{HoursTable, Usage};
use crate::special::{GAUSS_LEGENDRE, ln_beta};

impl HoursTable {
    /// The mean of `survival`(hours) over the hours to come, for a function that changes fast about some `places`, hours
    /// and how wide: as exact, and slower. Gauss-Legendre on panels of the logarithm of hours, no longer than two of its
    /// least standard deviations nor a factor of four, and ever shorter towards the places.
    pub(crate) fn average_about(
        &self,
        places: &[(f64, f64)],
        survival: impl Fn(f64) -> f64,
    ) -> f64 {
        let Usage { a, b, .. } = self.usage;
        let (Some(first), Some(last)) = (self.lattice.hours.first(), self.lattice.hours.last())
        else {
            return survival(0.0);
        };
        // Under a millionth of the least width nothing changes.
        let least = places.iter().map(|place| place.1).fold(*last, f64::min);
        let first = first.max(1e-7 * least).min(*last);
        let (low, high) = ((first / b).ln(), (last / b).ln());
        let longest = (2.0 * self.lattice.narrowest).min(4_f64.ln());
        let panels = ((high - low) / longest).ceil().max(1.0);
        let mut ends: Vec<f64> = (0..=panels as u32)
            .map(|i| low + (high - low) * f64::from(i) / panels)
            .collect();
        for (hours, width) in places {
            let off = (-2..=12).map(|power| width * 2f64.powi(power));
            let about = off
                .flat_map(|off| [hours - off, hours + off])
                .chain([*hours]);
            let about = about.filter(|hours| *hours > first && hours < last);
            ends.extend(about.map(|hours| (hours / b).ln()));
        }
        ends.sort_unstable_by(f64::total_cmp);
        let terms: Vec<(f64, f64)> = self
            .shapes
            .iter()
            .map(|(shape, weight)| (*shape, weight.ln() - ln_beta(*shape, a)))
            .collect();
        let density = |t: f64| -> f64 {
            let more = (-t.abs()).exp().ln_1p();
            let (ln_x, ln_y) = (t.min(0.0) - more, -t.max(0.0) - more);
            let of_terms = terms
                .iter()
                .map(|(shape, constant)| constant + shape * ln_x + a * ln_y);
            of_terms.filter(|term| *term > -40.0).map(f64::exp).sum()
        };
        let mut sum = self.at_most(first) * survival(0.0);
        for panel in ends.windows(2) {
            let length = panel[1] - panel[0];
            for (place, weight) in GAUSS_LEGENDRE {
                let t = panel[0] + length * place;
                sum += weight * length * density(t) * survival(b * t.exp());
            }
        }
        sum
    }
}
