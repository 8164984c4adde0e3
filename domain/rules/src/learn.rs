//! What all learning from a fleet shares: whose figures are computed with, and when it is time to learn again.

use serde::{Deserialize, Serialize};

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
mod tests {
    use super::grown_by_a_tenth;

    #[test]
    fn a_tenth_more_is_due() {
        for (then, now, due) in [
            (0, 0, false),
            (0, 1, true),
            (1, 2, true),
            (100, 109, false),
            (100, 110, true),
            (101, 111, false),
            (101, 112, true),
            // Corrected facts can make it less; that is not growth.
            (100, 50, false),
            (u64::MAX - 1, u64::MAX, false),
            (1, u64::MAX, true),
        ] {
            assert_eq!(grown_by_a_tenth(then, now), due, "{then} {now}");
        }
    }
}
