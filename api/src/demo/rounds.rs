//! Which checks a technician answers on which occasion. Nobody measures everything every time.

use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::{CheckSpec, Effect, Sheet};

use super::truth::WEARS;

/// A quick look in the season.
const IN_SEASON: [&str; 13] = [
    "shear_fasteners",
    "shear_spares",
    "skid_thickness",
    "scraper_edge",
    "clean_out_tool",
    "auger_belt_ride",
    "auger_take_up",
    "friction_ring",
    "engine_oil",
    "battery_charge",
    "engine_start",
    "auger_stops",
    "tyre_left",
];

/// The morning after a storm.
const AFTER_STORM: [&str; 7] = [
    "shear_spares",
    "impeller_free",
    "clean_out_tool",
    "fuel_leak",
    "chute",
    "engine_start",
    "auger_stops",
];

/// Beside every wear and every safety check, before the season, in the years when the full list was not yet in use.
const PRE_SEASON_BEFORE: [&str; 7] = [
    "shear_spares",
    "engine_oil",
    "fuel_age",
    "fuel_stabiliser",
    "engine_start",
    "tyre_left",
    "tyre_right",
];

/// Beside every wear, when a machine is put away.
const STORAGE: [&str; 4] = [
    "fuel_age",
    "fuel_stabiliser",
    "engine_start",
    "storage_jobs",
];

/// The checks of a round, in the sheet's order. `full`: with the whole checklist.
pub fn checks(sheet: &Sheet, kind: InspectionKind, full: bool) -> Vec<CheckSpec> {
    let wanted = |check: &CheckSpec| {
        let code = check.check.as_str();
        let wears = WEARS.iter().any(|wear| wear.check == code);
        match kind {
            InspectionKind::PreSeason if full => code != "storage_jobs",
            InspectionKind::PreSeason => {
                wears || check.effect == Effect::Hold || PRE_SEASON_BEFORE.contains(&code)
            }
            InspectionKind::InSeason => IN_SEASON.contains(&code),
            InspectionKind::AfterStorm => AFTER_STORM.contains(&code),
            InspectionKind::AfterRepair => matches!(code, "engine_start" | "auger_stops"),
            InspectionKind::Storage => wears || STORAGE.contains(&code),
        }
    };
    sheet
        .checks
        .iter()
        .filter(|check| wanted(check))
        .cloned()
        .collect()
}
