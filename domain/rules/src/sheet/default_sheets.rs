//! The sheets and checklists a district starts from: one pair of data files for each kind of machine.

use super::{CheckSpec, Sheet, StartFactor};
use crate::checklist::Checklist;

/// A kind of machine that a district need not describe itself.
struct DefaultKind {
    /// As its sheet and checklist name it.
    kind: &'static str,
    sheet: &'static str,
    checklist: &'static str,
}

/// The data files of a kind.
macro_rules! default_kind {
    ($kind:literal, $file:literal) => {
        DefaultKind {
            kind: $kind,
            sheet: include_str!(concat!("../../data/", $file, ".toml")),
            checklist: include_str!(concat!("../../data/", $file, "_checklist.toml")),
        }
    };
}

/// Every kind of machine that there is a default for: the one place to look.
const KINDS: [DefaultKind; 7] = [
    default_kind!("two-stage thrower", "two_stage_thrower"),
    default_kind!("single-stage thrower", "single_stage_thrower"),
    default_kind!("sidewalk tractor", "sidewalk_tractor"),
    default_kind!("power broom", "power_broom"),
    default_kind!("spreader", "spreader"),
    default_kind!("brine sprayer", "brine_sprayer"),
    default_kind!("backpack blower", "backpack_blower"),
];

/// The kinds of machine that have a default sheet and checklist, as a technician names them.
pub fn default_kinds() -> impl Iterator<Item = &'static str> {
    KINDS.iter().map(|entry| entry.kind)
}

fn entry(kind: &str) -> Option<&'static DefaultKind> {
    KINDS.iter().find(|entry| entry.kind == kind)
}

/// The default sheet of a kind of machine, if it has one.
pub fn default_sheet(kind: &str) -> Option<Sheet> {
    entry(kind)
        .map(|entry| Sheet::from_toml(entry.sheet).expect("tested: the default sheets can be read"))
}

/// The default checklist of a kind of machine, if it has one.
pub fn default_checklist(kind: &str) -> Option<Checklist> {
    entry(kind).map(|entry| {
        Checklist::from_toml(entry.checklist).expect("tested: the default checklists can be read")
    })
}

/// The default sheet of the two-stage thrower.
pub fn two_stage_thrower() -> Sheet {
    default_sheet("two-stage thrower").expect("it is among the kinds")
}

/// The default checklist of the two-stage thrower.
pub fn two_stage_thrower_checklist() -> Checklist {
    default_checklist("two-stage thrower").expect("it is among the kinds")
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

#[cfg(test)]
mod tests;
