//! Which checks a technician answers on which occasion. Nobody measures everything every time.

use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::{CheckSpec, Effect};

use super::machine::Machine;

/// A quick look in the season, beside the proof start and the tests of hidden safety functions.
const IN_SEASON: [&str; 21] = [
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
    "tyre_left",
    "paddle_loss",
    "belt_look",
    "hydraulic_leak",
    "cutting_edge",
    "bristle_length",
    "tubes",
    "calibration",
    "gate_travel",
    "brine_strength",
    "nozzle_flow",
];

/// The morning after a storm, beside the proof start.
const AFTER_STORM: [&str; 12] = [
    "shear_spares",
    "impeller_free",
    "clean_out_tool",
    "fuel_leak",
    "chute",
    "auger_stops",
    "rotor_free",
    "hydraulic_leak",
    "brush_free",
    "fan",
    "spinner",
    "strainer",
];

/// Beside every wear and every safety check, before the season, in the years when the full list was not yet in use.
const PRE_SEASON_BEFORE: [&str; 14] = [
    "shear_spares",
    "engine_oil",
    "fuel_age",
    "fuel_stabiliser",
    "tyre_left",
    "tyre_right",
    "battery_charge",
    "hydraulic_leak",
    "coolant",
    "belt_look",
    "calibration",
    "drive_gear",
    "brine_strength",
    "hoses",
];

/// Beside every wear, when a machine is put away.
const STORAGE: [&str; 4] = ["fuel_age", "fuel_stabiliser", "corrosion", "storage_jobs"];

/// The checks of a round, in the sheet's order. `full`: with the whole checklist.
pub fn checks(machine: &Machine<'_>, kind: InspectionKind, full: bool) -> Vec<CheckSpec> {
    let sheet = machine.sheet;
    let wanted = |check: &CheckSpec| {
        let code = check.check.as_str();
        let wears = || machine.kind.wears.iter().any(|wear| wear.check == code);
        let starts = code == sheet.start.check;
        match kind {
            InspectionKind::PreSeason if full => code != "storage_jobs",
            InspectionKind::PreSeason => {
                wears()
                    || starts
                    || check.effect == Effect::Hold
                    || PRE_SEASON_BEFORE.contains(&code)
            }
            InspectionKind::InSeason => {
                starts || IN_SEASON.contains(&code) || tests_safety(machine, code)
            }
            InspectionKind::AfterStorm => starts || AFTER_STORM.contains(&code),
            InspectionKind::AfterRepair => starts || tests_safety(machine, code),
            InspectionKind::Storage => wears() || starts || STORAGE.contains(&code),
        }
    };
    let concerns = |check: &&CheckSpec| sheet.check_concerns(&check.check, machine.work());
    sheet
        .checks
        .iter()
        .filter(concerns)
        .filter(|check| wanted(check))
        .cloned()
        .collect()
}

/// Whether answering that check is part of a safety task.
pub fn tests_safety(machine: &Machine<'_>, code: &str) -> bool {
    let safety = machine.sheet.tasks.iter().filter(|task| task.safety);
    safety
        .flat_map(|task| &task.checks)
        .any(|check| check == code)
}
