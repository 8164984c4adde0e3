//! What puts down salt and brine. Nothing on these counts their hours.

use super::{Days, Kind, NOT_NEGATIVE, SHARE, life, wear};

pub(super) const SPREADER: Kind = Kind {
    kind: "spreader",
    wears: &[wear(
        "wheel_play",
        "axle",
        (1.1, 0.3),
        (0.018, 0.35),
        (0.45, 1.0),
        NOT_NEGATIVE,
    )],
    lives: &[
        life("drive_gear", false, 2.0, 430.0, Some("drive_gear")),
        life("agitator", false, 2.0, 520.0, Some("agitator")),
        life("gate", true, 2.1, 2700.0, Some("gate_travel")),
        life("frame", true, 2.8, 3700.0, Some("corrosion")),
        life("hopper", true, 2.0, 3100.0, Some("hopper_screen")),
    ],
    days: Days::Snow,
    runs_on: 0.8,
    hours_a_day: 1.0,
    metered: false,
    goes_dead_a_day: 0.0005,
};

pub(super) const SPRAYER: Kind = Kind {
    kind: "brine sprayer",
    wears: &[wear(
        "nozzle_flow",
        "nozzles",
        (0.5, 0.5),
        (0.05, 0.35),
        (0.8, 1.0),
        SHARE,
    )],
    lives: &[
        life("pump", false, 2.1, 620.0, None),
        life("check_valves", true, 2.0, 2300.0, Some("check_valves")),
        life("hoses", true, 2.4, 3000.0, Some("hoses")),
        life("tank", true, 2.9, 3700.0, Some("tank_straps")),
        life("wiring", true, 2.0, 2700.0, Some("wiring")),
        life("battery", true, 2.8, 2300.0, None),
    ],
    days: Days::Weekdays,
    runs_on: 0.25,
    hours_a_day: 1.1,
    metered: false,
    goes_dead_a_day: 0.0014,
};
