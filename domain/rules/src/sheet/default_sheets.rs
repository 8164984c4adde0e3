//! The sheets and checklists a district starts from.

use super::Sheet;
use crate::checklist::Checklist;

/// The default sheet of the two-stage thrower.
pub fn two_stage_thrower() -> Sheet {
    Sheet::from_toml(include_str!("../../data/two_stage_thrower.toml"))
        .expect("tested: the default sheet can be read")
}

/// The default checklist of the two-stage thrower.
pub fn two_stage_thrower_checklist() -> Checklist {
    Checklist::from_toml(include_str!("../../data/two_stage_thrower_checklist.toml"))
        .expect("tested: the default checklist can be read")
}
