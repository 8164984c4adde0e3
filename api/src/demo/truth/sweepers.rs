//! What sweeps and blows: tractors with a broom or a blower, power brooms, backpack blowers.

use super::{Days, Kind, NOT_NEGATIVE, PLUG, SHARE, TrueWear, life, wear};

const BRISTLES: TrueWear = wear(
    "bristle_length",
    "bristles",
    (99.0, 1.0),
    (-0.31, 0.30),
    (1.8, 1.0),
    SHARE,
);

pub(super) const TRACTOR: Kind = Kind {
    kind: "sidewalk tractor",
    wears: &[
        wear(
            "cutting_edge",
            "cutting_edge",
            (39.5, 1.0),
            (-0.11, 0.30),
            (0.6, 1.0),
            NOT_NEGATIVE,
        ),
        wear(
            "skid_thickness",
            "skid_shoes",
            (9.9, 0.3),
            (-0.037, 0.35),
            (0.25, 0.1),
            NOT_NEGATIVE,
        ),
        wear(
            "chain_stretch",
            "blower_chain",
            (152.4, 0.12),
            (0.0055, 0.35),
            (0.13, 0.1),
            NOT_NEGATIVE,
        ),
        BRISTLES,
    ],
    lives: &[
        life("engine", false, 2.8, 3300.0, None),
        life("starter", false, 2.0, 2400.0, None),
        life("battery", true, 2.8, 2300.0, None),
        life("fan_belt", false, 2.4, 1600.0, Some("fan_belt")),
        life("fuel_line", true, 2.2, 3100.0, Some("fuel_leak")),
        life(
            "hydraulic_hoses",
            true,
            2.4,
            3100.0,
            Some("hydraulic_hoses"),
        ),
        life("hydraulic_pump", false, 2.1, 4200.0, None),
        life("steering", false, 2.0, 3900.0, Some("steering")),
        life("pto_clutch", false, 2.0, 3100.0, None),
        life("lamps", false, 1.0, 1400.0, Some("lamps")),
        life("pto_shaft", false, 2.0, 2600.0, Some("pto_shaft")),
        life("blower_gearbox", false, 1.6, 2600.0, Some("blower_gearbox")),
        life("chute_drive", false, 1.9, 950.0, Some("chute")),
        life("broom_drive", false, 2.0, 1450.0, Some("broom_drive")),
    ],
    days: Days::Snow,
    runs_on: 0.9,
    hours_a_day: 2.9,
    metered: true,
    goes_dead_a_day: 0.0022,
};

pub(super) const BROOM: Kind = Kind {
    kind: "power broom",
    wears: &[BRISTLES, PLUG],
    lives: &[
        life("engine", false, 2.7, 540.0, None),
        life("carburettor", true, 1.3, 3200.0, None),
        life("fuel_line", true, 2.2, 2800.0, Some("fuel_leak")),
        life("recoil_starter", false, 2.0, 850.0, Some("recoil")),
        life("drive_belt", false, 2.4, 530.0, Some("belt_look")),
        life("broom_gearbox", false, 1.6, 1250.0, Some("gearbox_leak")),
        life("brush_bearings", false, 2.0, 760.0, Some("brush_bearings")),
        life("traction", false, 2.0, 1050.0, Some("traction")),
        life("brush_cable", false, 2.1, 950.0, None),
        life("angle_lock", false, 1.9, 680.0, Some("brush_angle")),
    ],
    days: Days::Weekdays,
    runs_on: 0.32,
    hours_a_day: 1.2,
    metered: true,
    goes_dead_a_day: 0.0025,
};

pub(super) const BLOWER: Kind = Kind {
    kind: "backpack blower",
    wears: &[wear(
        "spark_plug_gap",
        "spark_plug",
        (0.65, 0.012),
        (0.0019, 0.35),
        (0.018, 0.02),
        NOT_NEGATIVE,
    )],
    lives: &[
        life("engine", false, 2.6, 640.0, None),
        life("carburettor", true, 1.3, 2800.0, None),
        life("fuel_line", true, 2.1, 2700.0, Some("fuel_leak")),
        life("recoil_starter", false, 2.0, 850.0, Some("recoil")),
        life(
            "throttle_cable",
            false,
            2.0,
            740.0,
            Some("throttle_returns"),
        ),
        life("mounts", false, 2.0, 420.0, Some("mounts")),
        life("harness", true, 2.1, 2300.0, Some("harness")),
        life("tubes", true, 1.6, 2300.0, Some("tubes")),
        life("arrestor", false, 1.5, 260.0, Some("spark_arrestor")),
    ],
    days: Days::Weekdays,
    runs_on: 0.3,
    hours_a_day: 0.9,
    metered: true,
    goes_dead_a_day: 0.0028,
};
