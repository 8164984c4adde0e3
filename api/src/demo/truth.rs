//! The hidden truth: how the demo's parts really wear and fail. Invented, near what the trade expects but not equal
//! to the sheets, and of other shapes than the rules assume (lognormal rates where the rules take normal ones). None
//! of it is stored.

use super::draw::Draw;

/// How one measure of a part truly moves, mm or per cent; values run `as_new + rate x hours`.
pub struct TrueWear {
    /// The check that measures it.
    pub check: &'static str,
    /// The part it is a measure of.
    pub part: &'static str,
    /// Mean of a new part.
    pub as_new: f64,
    /// Spread of new parts.
    pub as_new_sd: f64,
    /// Mean change a running hour, negative where the measure falls.
    pub rate: f64,
    /// Spread of that rate between parts, over its mean.
    pub rate_cv: f64,
    /// How far technicians' readings scatter.
    pub reading_sd: f64,
    /// The step of their gauge.
    pub step: f64,
    /// Bounds of what can be.
    pub bounds: (f64, f64),
}

/// What is measured of parts that wear.
pub const WEARS: [TrueWear; 15] = [
    wear(
        "friction_ring",
        "friction_ring",
        (5.6, 0.25),
        (-0.036, 0.30),
        (0.18, 0.1),
        NOT_NEGATIVE,
    ),
    wear(
        "drive_plate_groove",
        "drive_plate",
        (0.02, 0.02),
        (0.0027, 0.35),
        (0.04, 0.05),
        NOT_NEGATIVE,
    ),
    wear(
        "hex_shaft_play",
        "hex_shaft",
        (0.2, 0.04),
        (0.0027, 0.35),
        (0.045, 0.05),
        NOT_NEGATIVE,
    ),
    wear(
        "traction_belt_ride",
        "traction_belt",
        (0.75, 0.35),
        (-0.021, 0.30),
        (0.18, 0.25),
        RIDE,
    ),
    wear(
        "traction_take_up",
        "traction_belt",
        (96.0, 3.0),
        (-0.52, 0.30),
        (3.5, 5.0),
        SHARE,
    ),
    wear(
        "auger_belt_ride",
        "auger_belt",
        (0.8, 0.35),
        (-0.028, 0.30),
        (0.18, 0.25),
        RIDE,
    ),
    wear(
        "auger_take_up",
        "auger_belt",
        (96.0, 3.0),
        (-0.7, 0.30),
        (3.5, 5.0),
        SHARE,
    ),
    wear(
        "auger_sheave_wear",
        "auger_pulley",
        (0.02, 0.03),
        (0.0026, 0.35),
        (0.07, 0.1),
        NOT_NEGATIVE,
    ),
    wear(
        "idler_spring_length",
        "idler_spring",
        (0.2, 0.2),
        (0.018, 0.35),
        (0.35, 0.5),
        SHARE,
    ),
    wear(
        "chain_stretch",
        "drive_chain",
        (152.4, 0.12),
        (0.010, 0.35),
        (0.13, 0.1),
        NOT_NEGATIVE,
    ),
    wear(
        "axle_play",
        "axle_bushings",
        (0.8, 0.25),
        (0.017, 0.35),
        (0.25, 0.5),
        NOT_NEGATIVE,
    ),
    wear(
        "impeller_gap",
        "impeller",
        (9.0, 0.8),
        (0.010, 0.35),
        (0.35, 0.25),
        NOT_NEGATIVE,
    ),
    wear(
        "skid_thickness",
        "skid_shoes",
        (5.6, 0.25),
        (-0.034, 0.35),
        (0.13, 0.1),
        NOT_NEGATIVE,
    ),
    wear(
        "scraper_edge",
        "scraper_bar",
        (25.0, 1.5),
        (-0.11, 0.35),
        (0.45, 0.5),
        NOT_NEGATIVE,
    ),
    wear(
        "spark_plug_gap",
        "spark_plug",
        (0.76, 0.015),
        (0.0018, 0.35),
        (0.018, 0.02),
        NOT_NEGATIVE,
    ),
];

const NOT_NEGATIVE: (f64, f64) = (0.0, f64::INFINITY);
const RIDE: (f64, f64) = (-30.0, 30.0);
const SHARE: (f64, f64) = (0.0, 100.0);

const fn wear(
    check: &'static str,
    part: &'static str,
    (as_new, as_new_sd): (f64, f64),
    (rate, rate_cv): (f64, f64),
    (reading_sd, step): (f64, f64),
    bounds: (f64, f64),
) -> TrueWear {
    TrueWear {
        check,
        part,
        as_new,
        as_new_sd,
        rate,
        rate_cv,
        reading_sd,
        step,
        bounds,
    }
}

/// Life of a part that is not measured: a Weibull law of running hours or of days.
pub struct TrueLife {
    /// The part.
    pub part: &'static str,
    /// Whether its age runs in days and not in running hours.
    pub in_days: bool,
    /// Weibull shape.
    pub shape: f64,
    /// Weibull scale.
    pub scale: f64,
    /// A check that shows the failure, and is answered again after the repair, where there is one.
    pub check: Option<&'static str>,
}

/// Parts that simply end.
pub const LIVES: [TrueLife; 12] = [
    life("engine", false, 2.8, 1150.0, None),
    life("carburettor", true, 1.3, 3400.0, None),
    life("fuel_line", true, 2.2, 2800.0, Some("fuel_leak")),
    life("recoil_starter", false, 2.0, 850.0, Some("recoil")),
    life("auger_gearbox", false, 1.6, 1700.0, Some("gearbox_leak")),
    life("impeller_bearing", false, 2.0, 1300.0, None),
    life("auger_cable", false, 2.1, 950.0, None),
    life(
        "traction_cable",
        false,
        2.1,
        1000.0,
        Some("traction_control"),
    ),
    life("idler_pulley", false, 2.0, 1050.0, None),
    life("return_springs", false, 2.0, 1300.0, None),
    life("chute_drive", false, 1.8, 480.0, Some("chute")),
    life("lamp", false, 1.0, 700.0, Some("lamp")),
];

const fn life(
    part: &'static str,
    in_days: bool,
    shape: f64,
    scale: f64,
    check: Option<&'static str>,
) -> TrueLife {
    TrueLife {
        part,
        in_days,
        shape,
        scale,
        check,
    }
}

/// Chance that a machine that ran yesterday starts.
const STARTS_AT_ONCE: f64 = 0.988;

/// Share of machines that go dead a day of standing; a Gamma over machines with this mean.
const GOES_DEAD_A_DAY: f64 = 0.0024;

/// One machine's own nature.
pub struct Nature {
    /// Running hours it is asked for on a snow day.
    pub hours_per_snow_day: f64,
    /// How readily it goes dead, a day.
    pub goes_dead_a_day: f64,
    /// How hard it is on its parts, around 1: its ground and its operators.
    pub hard_on_parts: f64,
}

impl Nature {
    /// A machine's nature.
    pub fn new(draw: &mut Draw) -> Self {
        Nature {
            hours_per_snow_day: draw.gamma(10.0, 1.35),
            goes_dead_a_day: draw.gamma(3.0, GOES_DEAD_A_DAY),
            hard_on_parts: draw.lognormal(1.0, 0.12),
        }
    }

    /// Whether it starts after that many days.
    pub fn starts(&self, draw: &mut Draw, days: f64) -> bool {
        draw.chance(STARTS_AT_ONCE * (-self.goes_dead_a_day * days.max(0.0)).exp())
    }

    /// How a newly fitted part will wear: its true value as new and its true change an hour.
    pub fn fit(&self, draw: &mut Draw, wear: &TrueWear) -> (f64, f64) {
        let as_new = draw
            .normal(wear.as_new, wear.as_new_sd)
            .clamp(wear.bounds.0, wear.bounds.1);
        let pace = draw.lognormal(wear.rate.abs() * self.hard_on_parts, wear.rate_cv);
        (as_new, wear.rate.signum() * pace)
    }
}
