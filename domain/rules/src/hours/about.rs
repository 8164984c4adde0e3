//! Means over hours of what changes fast somewhere.

use std::array;

use super::{HoursTable, Usage, density};
use crate::special::GAUSS_LEGENDRE;

impl<const N: usize> HoursTable<N> {
    /// The mean of `survival`(hours) over the hours to come, for a function that changes fast about some `places`, hours
    /// and how wide: as exact, and slower. Gauss-Legendre on panels of the logarithm of hours, no longer than two of its
    /// least standard deviations nor a factor of four, and ever shorter towards the places.
    pub(crate) fn average_about(
        &self,
        places: &[(f64, f64)],
        survival: impl Fn(f64) -> f64,
    ) -> [f64; N] {
        let Usage { a, b, .. } = self.usage;
        let nodes = &self.lattice.nodes;
        let (Some(first), Some(last)) = (nodes.first(), nodes.last()) else {
            return [survival(0.0); N];
        };
        let (first, last) = (first.hours, last.hours);
        // Under a millionth of the least width nothing changes.
        let least = places.iter().map(|place| place.1).fold(last, f64::min);
        let first = first.max(1e-7 * least).min(last);
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
            let about = about.filter(|hours| *hours > first && *hours < last);
            ends.extend(about.map(|hours| (hours / b).ln()));
        }
        ends.sort_unstable_by(f64::total_cmp);
        let terms: [Vec<(f64, f64)>; N] = array::from_fn(|day| self.until[day].terms(a));
        let now = survival(0.0);
        let mut sums = self.at_most(first).map(|chance| chance * now);
        for panel in ends.windows(2) {
            let length = panel[1] - panel[0];
            for (place, weight) in GAUSS_LEGENDRE {
                let t = panel[0] + length * place;
                let more = (-t.abs()).exp().ln_1p();
                let (ln_x, ln_y) = (t.min(0.0) - more, -t.max(0.0) - more);
                let weighed = weight * length * survival(b * t.exp());
                for (sum, terms) in sums.iter_mut().zip(&terms) {
                    *sum += weighed * density(terms, a, ln_x, ln_y);
                }
            }
        }
        sums
    }
}
