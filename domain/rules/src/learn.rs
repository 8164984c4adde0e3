//! What a fleet teaches of its models (sections 4 to 6 of the computation): how their parts wear and live, how they start
//! after standing, how often their shear fasteners break. In place of the sheet's figures, which stand where the fleet
//! has shown too little, and of the history of one depot alone.

use serde::{Deserialize, Serialize};

mod alike;
mod evidence;
mod fasteners;
mod figures;
mod fleet;
mod learned;
mod lives;
mod starts;
mod worn;

pub use alike::teach_alike;
pub use fasteners::{Booked, Fasteners};
pub use figures::{BreakFigures, Figures};
pub use fleet::Fleet;
pub use learned::Learned;
pub(crate) use lives::PartLives;
pub(crate) use starts::start_tests;

/// Whose figures are computed with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(rename_all = "lowercase")]
pub enum LearnedFrom {
    /// What the fleet shows.
    Fleet,
    /// The model sheet's.
    Sheet,
}

/// Whether what was counted as `then` when it was learned from has grown by a tenth, so that it is learned from again.
pub fn grown_by_a_tenth(then: u64, now: u64) -> bool {
    now > then && now - then >= then.div_ceil(10)
}

#[cfg(test)]
mod tests;
