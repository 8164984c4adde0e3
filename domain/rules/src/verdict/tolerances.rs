//! A number against the limits of one side, with the doubt of the measurement: the decision rules of ISO 14253-1 and
//! JCGM 106.

use super::{Flag, Verdict};
use crate::sheet::{Effect, Limits, Side};

/// Standard normal quantile at 0.95: within this many sigmas of a limit, a reading does not prove its side at 95 %.
const PROOF_SIGMAS: f64 = 1.645;

/// Readings after which nobody is asked to measure again.
const READINGS_ENOUGH: u32 = 3;

/// How sure the number is.
#[derive(Debug, Clone, Copy)]
pub struct Doubt {
    /// One sigma of a single reading.
    pub sigma: f64,
    /// How many readings it is the mean of.
    pub readings: u32,
}

impl Doubt {
    /// Half the width of the zone around a limit in which the number proves nothing.
    fn band(self) -> f64 {
        PROOF_SIGMAS * self.sigma / f64::from(self.readings.max(1)).sqrt()
    }
}

/// The worse of both sides' verdicts, and the flags of both; `low` and `high` are the number as each side takes it.
pub fn held_against(
    limits: &Limits,
    low: f64,
    high: f64,
    doubt: Doubt,
    effect: Effect,
) -> (Verdict, Vec<Flag>) {
    let mut verdict = Verdict::Serviceable;
    let mut flags = Vec::new();
    // Turned round, a low side is a high side.
    for (side, value, sign) in [(&limits.low, low, -1.0), (&limits.high, high, 1.0)] {
        if let Some(side) = side {
            let (of_side, flag) = one_side(side, sign, value, doubt, effect);
            verdict = verdict.max(of_side);
            flags.extend(
                flag.into_iter()
                    .filter(|flag| !flags.contains(flag))
                    .collect::<Vec<_>>(),
            );
        }
    }
    (verdict, flags)
}

fn one_side(
    side: &Side,
    sign: f64,
    value: f64,
    doubt: Doubt,
    effect: Effect,
) -> (Verdict, Option<Flag>) {
    let (value, marginal_at, unserviceable_at) = (
        sign * value,
        sign * side.marginal_at.value,
        sign * side.unserviceable_at.value,
    );
    let nominal = |value: f64| {
        if value >= unserviceable_at {
            Verdict::Unserviceable
        } else if value >= marginal_at {
            Verdict::Marginal
        } else {
            Verdict::Serviceable
        }
    };
    let verdict = nominal(value);
    let band = doubt.band();
    let near = |limit: f64| band > 0.0 && (value - limit).abs() <= band;
    if effect == Effect::Hold && near(unserviceable_at) && verdict != Verdict::Unserviceable {
        return (Verdict::Unserviceable, Some(Flag::NotAccepted));
    }
    if !near(marginal_at) && !near(unserviceable_at) {
        return (verdict, None);
    }
    if doubt.readings < READINGS_ENOUGH {
        return (verdict, Some(Flag::ReMeasure));
    }
    let worse = nominal(value + band);
    (worse, (worse != verdict).then_some(Flag::WorseSide))
}
