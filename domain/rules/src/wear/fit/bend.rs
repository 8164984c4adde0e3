//! Whether the paths of a fleet bend, where the model takes them for straight.
//!
//! The fit is asked for a common term in the square of hours more: g h^2, tested by F on 1 and N - 3 degrees of freedom,
//! the relative spreads kept as they were fitted. Straight paths are flagged at 1 % or a little under, from 8 parts with
//! three readings to hundreds, and where parts are renewed when they are read to be bad (fit/tests/bend.rs holds it to
//! that). Taking out each part's own line, whose F has exactly its size on fixed hours, flags up to 7.7 % of the latter:
//! which readings exist then hangs on what was read. It would also see half of a bend, or less, in small fleets.

use serde::{Deserialize, Serialize};

use super::search::Found;
use super::sums::Sums;
use crate::special::beta_tails;

/// Straight paths are flagged so often.
pub const BENDS_UNDER: f64 = 0.01;

/// A term in the square of hours beside the fit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = WearFitBend))]
pub struct Bend {
    /// Whether the paths bend: `chance` is under 0.01.
    pub bends: bool,
    /// What the square of hours would add to the value, an hour squared.
    pub curvature: f64,
    /// Chance that straight paths look at least so bent.
    pub chance: f64,
}

impl Bend {
    pub(super) fn of(sums: &Sums, found: &Found, sign: f64) -> Option<Bend> {
        let (pull, information) = sums.bend(found.ratios, &found.profile);
        let degrees = sums.readings as f64 - 3.0;
        let taken = pull * pull / information;
        let left = found.profile.square - taken;
        if !(information > 1e-9 * sums.readings as f64 && left > 0.0 && degrees > 0.0) {
            return None;
        }
        // P(F > f) on 1 and d degrees of freedom is I_x(d/2, 1/2), x = d / (d + f).
        let (chance, _) = beta_tails(
            0.5 * degrees,
            0.5,
            left / (left + taken),
            taken / (left + taken),
        );
        Some(Bend {
            bends: chance < BENDS_UNDER,
            curvature: sign * sums.value_unit / (sums.hours_unit * sums.hours_unit) * pull
                / information,
            chance,
        })
    }
}
