//! The sheets and checklists a district starts from.

use super::{CheckSpec, Sheet, StartFactor};
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

/// The checks to add to a model's sheet where a wet battery is fitted; most two-stage throwers have none.
pub fn battery_checks() -> Vec<CheckSpec> {
    battery().checks
}

/// What such a battery adds to what makes a model go dead sooner: to be put into its sheet beside [`battery_checks`].
pub fn battery_start_factors() -> Vec<StartFactor> {
    battery().start_factors
}

#[derive(serde::Deserialize)]
struct Battery {
    checks: Vec<CheckSpec>,
    start_factors: Vec<StartFactor>,
}

fn battery() -> Battery {
    toml::from_str(include_str!("../../data/battery_checks.toml"))
        .expect("tested: the battery checks can be read")
}

/// The default sheet of a kind of machine, if it has one.
pub fn default_sheet(kind: &str) -> Option<Sheet> {
    [two_stage_thrower]
        .map(|sheet| sheet())
        .into_iter()
        .find(|sheet| sheet.kind == kind)
}

/// The default checklist of a kind of machine, if it has one.
pub fn default_checklist(kind: &str) -> Option<Checklist> {
    [two_stage_thrower_checklist]
        .map(|checklist| checklist())
        .into_iter()
        .find(|checklist| checklist.kind == kind)
}
