//! The invented agency as it stands on paper: models, depots with their ground and crews. Plain tables; the numbers
//! of machines, crews and square metres are chosen so that the coming storm finds most depots ready and a few not.

use rimeyard_rules::sheet::{
    Figure, Sheet, Sourced, Work, battery_checks, battery_start_factors, default_sheet,
};

use super::catalogue::KIT_OF;

/// The agency's name.
pub const AGENCY: &str = "Rimeback Mountain Transit";

/// The models and their kinds, in the order that [`DepotPlan::machines`] and then [`DepotPlan::others`] count them.
pub const MODELS: [(&str, &str); 10] = [
    ("24 in two-stage, friction drive", TWO_STAGE),
    ("28 in two-stage, friction drive", TWO_STAGE),
    ("30 in two-stage, hydrostatic drive", TWO_STAGE),
    ("28 in two-stage, battery start", TWO_STAGE),
    ("21 in single-stage", "single-stage thrower"),
    (
        "50 in sidewalk tractor, blower and broom",
        "sidewalk tractor",
    ),
    ("36 in power broom", "power broom"),
    ("36 in drop spreader", "spreader"),
    ("5 ft brine cart", "brine sprayer"),
    ("backpack blower, large", "backpack blower"),
];

/// What a new one of each of them costs, US cents; the order of a list price, invented.
pub const PRICES_MINOR: [i64; 10] = [
    115_000, 145_000, 289_000, 175_000, 64_000, 1_450_000, 239_000, 78_000, 189_000, 54_000,
];

const TWO_STAGE: &str = "two-stage thrower";
const TRACTOR: usize = 5;

/// What machine `number` of a depot, from 1, is rigged for, where its model can do more than one kind of work: every
/// other depot has its tractor on the broom.
pub fn rigging(model: usize, depot: usize) -> Option<Work> {
    let work = if depot.is_multiple_of(2) {
        Work::Clear
    } else {
        Work::Blow
    };
    (model == TRACTOR).then_some(work)
}

/// A model's sheet: the trade's default with what this model has otherwise, marked as the agency's own figure.
pub fn sheet(model: usize) -> Sheet {
    let mut sheet = default_sheet(MODELS[model].1).expect("a constant of the demo");
    let own = |value: f64| Figure {
        value,
        source: "the demo agency's own figure".to_owned(),
    };
    match model {
        0 => {
            sheet.rate.width_mm = own(610.0);
            sheet.rate.speed_m_per_h = own(2200.0);
            sheet.rate.rating_kg_per_h = own(36_000.0);
        }
        2 => {
            sheet.rate.width_mm = own(762.0);
            sheet.rate.speed_m_per_h = own(2700.0);
            sheet.rate.rating_kg_per_h = own(54_000.0);
            // A hydrostatic drive has no friction wheel, plate or sliding shaft.
            let gone = [
                "friction_ring",
                "drive_plate",
                "hex_shaft",
                "return_springs",
            ];
            sheet
                .parts
                .retain(|part| !gone.contains(&part.part.as_str()));
            sheet.checks.retain(|check| {
                check.check != "friction_gap"
                    && !check
                        .part
                        .as_deref()
                        .is_some_and(|part| gone.contains(&part))
            });
            let left: Vec<String> = sheet.checks.iter().map(|one| one.check.clone()).collect();
            for task in &mut sheet.tasks {
                task.checks.retain(|check| left.contains(check));
            }
            sheet.tasks.retain(|task| task.task != "friction_ring");
        }
        3 => {
            sheet.checks.extend(battery_checks());
            sheet.start.factors.extend(battery_start_factors());
        }
        _ => {}
    }
    let numbers = ["SF-24", "SF-28", "SF-30", "SF-28", "", "SF-T50"];
    if let (Some(fasteners), Some(number)) = (&mut sheet.shear_fasteners, numbers.get(model)) {
        fasteners.part_number = Sourced {
            value: (*number).to_owned(),
            source: "the demo agency's parts list".to_owned(),
        };
    }
    let kit = KIT_OF.iter().find(|(kind, _)| *kind == sheet.kind);
    let prepares = sheet
        .tasks
        .iter_mut()
        .find(|task| task.task == "pre_season");
    if let (Some((_, kit)), Some(task)) = (kit, prepares) {
        task.parts.push((*kit).to_owned());
    }
    sheet
}

/// One depot of the demo.
pub struct DepotPlan {
    /// Its name.
    pub name: &'static str,
    /// IANA zone.
    pub zone: &'static str,
    /// Nominal coordinates: crossings of the graticule, not places.
    pub at: (f64, f64),
    /// First and last day of its season.
    pub season: (&'static str, &'static str),
    /// Snow days in a typical season.
    pub snow_days: i32,
    /// Two-stage throwers of each of the first four of [`MODELS`].
    pub machines: [u8; 4],
    /// Machines of each of the others: single-stage throwers, tractors, brooms, spreaders, sprayers, blowers.
    pub others: [u8; 6],
    /// Travel there and back, minutes.
    pub travel_minutes: i32,
    /// Operators a shift for clearing.
    pub operators: u32,
    /// Ground that the depot owes, m2 an hour at the tightest time of the storm.
    pub owes_m2_per_h: f64,
    /// Narrow ground: name, m2, hours, narrowest place in mm. The 24 in machines pass, the others do not.
    pub narrow: Option<(&'static str, f64, f64, f64)>,
}

const MOUNTAIN: &str = "America/Denver";
const PACIFIC: &str = "America/Los_Angeles";
const USUAL: (&str, &str) = ("11-15", "04-10");
const HIGH: (&str, &str) = ("11-05", "04-20");

/// The twelve depots. Machine 4 of depot 7 is tagged `T-0704`.
pub const DEPOTS: [DepotPlan; 12] = [
    depot(
        "Lower Terminus",
        MOUNTAIN,
        (40.0, -107.0),
        USUAL,
        24,
        [6, 14, 6, 4],
        [2, 1, 1, 2, 1, 2],
        0,
        20,
        20_800.0,
        None,
    ),
    depot(
        "Viaduct Yard",
        MOUNTAIN,
        (40.0, -106.5),
        USUAL,
        26,
        [6, 12, 4, 4],
        [2, 1, 1, 2, 1, 1],
        20,
        17,
        19_500.0,
        None,
    ),
    depot(
        "Switchback Works",
        MOUNTAIN,
        (40.5, -107.0),
        USUAL,
        30,
        [4, 12, 4, 4],
        [2, 1, 0, 2, 1, 2],
        35,
        17,
        15_600.0,
        NARROW_STAIR,
    ),
    depot(
        "North Portal",
        MOUNTAIN,
        (40.5, -106.5),
        HIGH,
        38,
        [4, 10, 4, 4],
        [2, 1, 1, 2, 1, 1],
        50,
        15,
        17_600.0,
        None,
    ),
    depot(
        "South Portal",
        MOUNTAIN,
        (40.5, -106.0),
        HIGH,
        38,
        [4, 12, 4, 2],
        [2, 1, 1, 2, 0, 1],
        55,
        16,
        17_200.0,
        None,
    ),
    depot(
        "Funicular Foot",
        MOUNTAIN,
        (41.0, -107.0),
        USUAL,
        28,
        [6, 8, 2, 4],
        [2, 1, 1, 2, 1, 1],
        30,
        14,
        15_200.0,
        None,
    ),
    depot(
        "Ridge Garage",
        MOUNTAIN,
        (41.0, -106.5),
        HIGH,
        42,
        [4, 10, 4, 2],
        [2, 1, 1, 2, 1, 1],
        60,
        15,
        15_500.0,
        None,
    ),
    depot(
        "Snowshed Yard",
        MOUNTAIN,
        (41.0, -106.0),
        HIGH,
        44,
        [4, 8, 4, 2],
        [2, 1, 1, 2, 0, 1],
        75,
        13,
        15_000.0,
        None,
    ),
    depot(
        "Lakeside Loop",
        PACIFIC,
        (41.5, -119.5),
        USUAL,
        22,
        [4, 10, 2, 2],
        [0, 0, 1, 2, 1, 1],
        40,
        8,
        9_400.0,
        None,
    ),
    depot(
        "Quarry Siding",
        PACIFIC,
        (41.5, -119.0),
        USUAL,
        26,
        [4, 8, 2, 2],
        [2, 0, 1, 2, 1, 2],
        65,
        12,
        9_000.0,
        FOOTBRIDGE,
    ),
    depot(
        "Upper Terminus",
        PACIFIC,
        (42.0, -119.5),
        HIGH,
        46,
        [2, 8, 2, 2],
        [0, 0, 1, 2, 1, 2],
        70,
        12,
        12_000.0,
        None,
    ),
    depot(
        "Summit Halt",
        PACIFIC,
        (42.0, -119.0),
        HIGH,
        50,
        [2, 6, 2, 0],
        [0, 0, 1, 2, 1, 1],
        95,
        8,
        6_300.0,
        None,
    ),
];

const NARROW_STAIR: Option<(&str, f64, f64, f64)> =
    Some(("ramp beside the stair", 1_200.0, 3.0, 680.0));
const FOOTBRIDGE: Option<(&str, f64, f64, f64)> = Some(("footbridge", 900.0, 3.0, 650.0));

#[expect(clippy::too_many_arguments, reason = "one row of a table")]
const fn depot(
    name: &'static str,
    zone: &'static str,
    at: (f64, f64),
    season: (&'static str, &'static str),
    snow_days: i32,
    machines: [u8; 4],
    others: [u8; 6],
    travel_minutes: i32,
    operators: u32,
    owes_m2_per_h: f64,
    narrow: Option<(&'static str, f64, f64, f64)>,
) -> DepotPlan {
    DepotPlan {
        name,
        zone,
        at,
        season,
        snow_days,
        machines,
        others,
        travel_minutes,
        operators,
        owes_m2_per_h,
        narrow,
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use rimeyard_rules::sheet::default_kinds;

    use super::*;

    #[test]
    fn there_are_327_machines_in_12_depots_of_all_kinds() {
        let two_stage = DEPOTS.iter().flat_map(|depot| depot.machines);
        let others = DEPOTS.iter().flat_map(|depot| depot.others);
        assert_eq!(two_stage.map(u32::from).sum::<u32>(), 240);
        assert_eq!(others.map(u32::from).sum::<u32>(), 87);
        for (model, (name, kind)) in MODELS.iter().enumerate() {
            assert_eq!(sheet(model).check(), Ok(()), "{name}");
            assert_eq!(sheet(model).kind, *kind);
        }
        let kinds: BTreeSet<&str> = MODELS.iter().map(|(_, kind)| *kind).collect();
        assert_eq!(kinds, default_kinds().collect());
    }
}
