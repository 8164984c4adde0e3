//! The hidden truth: how the demo's parts really wear and fail. Invented, near what the trade expects but not equal
//! to the sheets, and of other shapes than the rules assume (lognormal rates where the rules take normal ones). None
//! of it is stored.

mod spreaders;
mod sweepers;
mod throwers;

use super::draw::Draw;

/// The truth about a kind of machine.
pub struct Kind {
    /// As its sheet names it.
    pub kind: &'static str,
    /// What is measured of its parts that wear.
    pub wears: &'static [TrueWear],
    /// Its parts that simply end.
    pub lives: &'static [TrueLife],
    /// On which days it may be out.
    pub days: Days,
    /// Share of those days that it runs on.
    pub runs_on: f64,
    /// Running hours on such a day; a Gamma over machines with this mean.
    pub hours_a_day: f64,
    /// Whether it has an hour meter; else its operator estimates.
    pub metered: bool,
    /// Share of such machines that go dead a day of standing; a Gamma over machines with this mean.
    pub goes_dead_a_day: f64,
}

/// On which days a kind of machine may be out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Days {
    /// When it has snowed.
    Snow,
    /// On any weekday of the season.
    Weekdays,
}

/// Every kind of machine that the agency has.
pub const KINDS: [&Kind; 7] = [
    &throwers::TWO_STAGE,
    &throwers::SINGLE_STAGE,
    &sweepers::TRACTOR,
    &sweepers::BROOM,
    &sweepers::BLOWER,
    &spreaders::SPREADER,
    &spreaders::SPRAYER,
];

/// The truth about the kind of that name.
pub fn kind(name: &str) -> &'static Kind {
    KINDS
        .into_iter()
        .find(|kind| kind.kind == name)
        .expect("a constant of the demo")
}

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

const NOT_NEGATIVE: (f64, f64) = (0.0, f64::INFINITY);
const RIDE: (f64, f64) = (-30.0, 30.0);
const SHARE: (f64, f64) = (0.0, 100.0);
const PLUG: TrueWear = wear(
    "spark_plug_gap",
    "spark_plug",
    (0.76, 0.015),
    (0.0018, 0.35),
    (0.018, 0.02),
    NOT_NEGATIVE,
);

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

/// One machine's own nature.
pub struct Nature {
    /// Running hours it is asked for on a day when it is out.
    pub hours_a_day: f64,
    /// How readily it goes dead, a day.
    pub goes_dead_a_day: f64,
    /// How hard it is on its parts, around 1: its ground and its operators.
    pub hard_on_parts: f64,
}

impl Nature {
    /// A machine's nature.
    pub fn new(draw: &mut Draw, kind: &Kind) -> Self {
        Nature {
            hours_a_day: draw.gamma(10.0, kind.hours_a_day),
            goes_dead_a_day: draw.gamma(3.0, kind.goes_dead_a_day),
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
