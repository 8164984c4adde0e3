//! One number: whether it can be at all, what it is turned into, and what it comes to.

use super::{Context, Flag, Judged, ReadingInput, Verdict, tolerances};
use crate::Invalid;
use crate::battery::{self, FullCharge};
use crate::because::{figure, number, quantity};
use crate::measure::{Quantity, Unit};
use crate::sheet::{CheckSpec, Derived, Measure, Side};
use crate::tyre;

/// Readings a person may give the mean of.
const REPEATS_MAX: u32 = 100;

/// More than any 12 V battery shows at rest, V: as in the `battery` calculation.
const BATTERY_VOLTS_MAX: f64 = 16.0;

/// Air and battery temperatures a reading may have been taken at, degC.
const TEMPERATURES_C: std::ops::RangeInclusive<f64> = -60.0..=80.0;

pub(super) fn judge_measure(
    check: &CheckSpec,
    measure: &Measure,
    reading: &ReadingInput,
    context: &Context,
) -> Result<Judged, Invalid> {
    let readings = reading.repeats.unwrap_or(1);
    if !(1..=REPEATS_MAX).contains(&readings) {
        return Err(Invalid::new(
            "repeats",
            format!("must be 1 to {REPEATS_MAX}: how many readings the value is the mean of"),
        ));
    }
    if let Some(temperature_c) = reading.temperature_c
        && !TEMPERATURES_C.contains(&temperature_c)
    {
        return Err(Invalid::new(
            "temperature_c",
            "must be -60 to 80 degC: the temperature it was read at",
        ));
    }
    let (entered, unit) = number_and_unit(measure, reading)?;
    let taken = match &measure.derived {
        None => Taken {
            kept: unit.to_si(entered),
            low: unit.to_si(entered),
            high: unit.to_si(entered),
            freezes_at_c: None,
        },
        Some(Derived::Battery) => battery_gravity(reading, entered, unit)?,
        Some(Derived::Tyre { at_c }) => {
            let kept = unit.to_si(entered);
            let in_use = match reading.temperature_c {
                Some(temperature_c) => tyre::pressure_at(kept, temperature_c, at_c.value),
                None => kept,
            };
            Taken {
                kept,
                low: in_use,
                // What is on the sidewall is of the tyre as it stands there.
                high: kept,
                freezes_at_c: None,
            }
        }
    };
    possible(measure, unit, entered)?;

    let sigma = measure
        .repeatability
        .value
        .max(measure.resolution.value / 12f64.sqrt());
    let doubt = tolerances::Doubt { sigma, readings };
    let (mut verdict, mut flags) =
        tolerances::held_against(&measure.limits, taken.low, taken.high, doubt, check.effect);
    if let (Some(freezes_at_c), Some(low_c)) = (taken.freezes_at_c, context.low_c)
        && freezes_at_c >= low_c
    {
        verdict = Verdict::Unserviceable;
        flags.push(Flag::WillFreeze);
    }
    if measure.backed_by.is_some()
        && verdict == Verdict::Unserviceable
        && context.backed_by != Some(Verdict::Unserviceable)
    {
        verdict = Verdict::Marginal;
        flags.push(Flag::RenewBeforeNextSeason);
    }
    Ok(Judged {
        verdict,
        value_si: Some(taken.kept),
        judged_value: (taken.low != taken.kept).then_some(taken.low),
        limits: Some(measure.limits.clone()),
        text: measure_text(check, measure, taken, verdict, &flags),
        flags,
    })
}

/// A number as it is kept and as it is held against the limits of either side.
#[derive(Clone, Copy)]
struct Taken {
    kept: f64,
    low: f64,
    high: f64,
    freezes_at_c: Option<f64>,
}

fn number_and_unit(measure: &Measure, reading: &ReadingInput) -> Result<(f64, Unit), Invalid> {
    let accepted: Vec<&str> = Unit::ALL
        .into_iter()
        .filter(|&unit| accepts(measure, unit))
        .map(Unit::symbol)
        .collect();
    let accepted = accepted.join(" or ");
    let value = reading.value.ok_or_else(|| {
        Invalid::new(
            "value",
            format!("is missing: this check is a measure; give a number in {accepted}"),
        )
    })?;
    if !value.is_finite() {
        return Err(Invalid::new("value", "must be a finite number"));
    }
    let symbol = reading.unit.as_deref().ok_or_else(|| {
        Invalid::new(
            "unit",
            format!("is missing: give {accepted}, so that no reading is guessed at"),
        )
    })?;
    match Unit::parse(symbol) {
        Some(unit) if accepts(measure, unit) => Ok((value, unit)),
        _ => {
            let shown: String = symbol.chars().take(20).collect();
            Err(Invalid::new(
                "unit",
                format!("{shown:?} cannot be used for this check; give {accepted}"),
            ))
        }
    }
}

/// Whether a measure takes readings in that unit: one of the same quantity, and volts for a battery's gravity.
fn accepts(measure: &Measure, unit: Unit) -> bool {
    unit.quantity() == measure.unit.quantity()
        || (matches!(measure.derived, Some(Derived::Battery)) && unit == Unit::Volt)
}

/// Refuses what is impossible in itself; what only contradicts other facts is for the store to keep and flag.
fn possible(measure: &Measure, unit: Unit, entered: f64) -> Result<(), Invalid> {
    let (least, most) = match unit.quantity() {
        Quantity::Length => (0.0, 10_000.0),
        Quantity::Pressure => (0.0, 100_000.0),
        Quantity::Temperature => (-90.0, 1_000.0),
        Quantity::Voltage => (0.0, 60.0),
        Quantity::SpecificGravity => (1.0, 1.4),
        Quantity::RunningTime => (0.0, 1_000_000.0),
        Quantity::CalendarTime => (0.0, 36_525.0),
        Quantity::Share => (0.0, 100.0),
        Quantity::Count => (0.0, 1_000_000.0),
        Quantity::Angle => (-360.0, 360.0),
    };
    // Only batteries are read in volts for a gravity, and those of 12 V.
    let most = match measure.derived {
        Some(Derived::Battery) if unit == Unit::Volt => BATTERY_VOLTS_MAX,
        _ => most,
    };
    // The sheet's own bounds are in the check's unit: they say nothing of volts given for gravity.
    let own = unit.quantity() == measure.unit.quantity();
    let least = measure.least.filter(|_| own).unwrap_or(least);
    let most = measure.most.filter(|_| own).unwrap_or(most);
    let value = unit.to_si(entered);
    if value < least || value > most {
        let (least, most) = (
            number(unit.from_si(least), 3),
            number(unit.from_si(most), 3),
        );
        let symbol = unit.symbol();
        return Err(Invalid::new(
            "value",
            format!("cannot be: {least} to {most} {symbol} is possible; read it again"),
        ));
    }
    if unit == Unit::Count && value.fract() != 0.0 {
        return Err(Invalid::new(
            "value",
            "must be a whole number: it is a count",
        ));
    }
    Ok(())
}

/// Volts or gravity as read, made gravity at 26.7 degC.
fn battery_gravity(reading: &ReadingInput, entered: f64, unit: Unit) -> Result<Taken, Invalid> {
    let full = reading.full_charge.ok_or_else(|| {
        Invalid::new(
            "full_charge",
            "is missing: say 1.265 or 1.280, the gravity of this battery when full",
        )
    })?;
    let full = FullCharge::from_gravity(full).ok_or_else(|| {
        Invalid::new(
            "full_charge",
            "must be 1.265 or 1.280, the gravity of this battery when full",
        )
    })?;
    let gravity = if unit == Unit::Volt {
        battery::gravity_from_volts(entered, full)
    } else {
        let temperature_c = reading.temperature_c.ok_or_else(|| {
            Invalid::new(
                "temperature_c",
                "is missing: a gravity means nothing without the temperature it was read at",
            )
        })?;
        battery::corrected_gravity(entered, temperature_c)
    };
    let by_charge = battery::on_the_1265_basis(gravity, full);
    Ok(Taken {
        kept: gravity,
        low: by_charge,
        high: by_charge,
        freezes_at_c: Some(battery::freezes_at_c(gravity)),
    })
}

/// The reading, the limit it has met if it has met one, and what to do about doubt.
fn measure_text(
    check: &CheckSpec,
    measure: &Measure,
    taken: Taken,
    verdict: Verdict,
    flags: &[Flag],
) -> String {
    let said = |value, decimals| figure(number(value, decimals), measure.unit);
    let mut text = format!("{}: {}", check.title, said(taken.low, decimals(measure)));
    if taken.low != taken.kept {
        let (low, kept) = match measure.derived {
            Some(Derived::Battery) => ("on the 1.265 basis", "corrected"),
            _ => ("in use", "as read"),
        };
        text.push_str(&format!(
            " {low} ({} {kept})",
            said(taken.kept, decimals(measure))
        ));
    }
    let limit = (verdict > Verdict::Serviceable)
        .then(|| limit_met(measure, taken, verdict))
        .flatten();
    if let Some(limit) = limit {
        text.push_str(&format!("; {} at {}", verdict.word(), said(limit, 3)));
    }
    let near = || {
        let (nearest, is) = nearest_limit(measure, taken).unwrap_or((f64::NAN, verdict));
        if limit == Some(nearest) {
            said(nearest, 3).to_string()
        } else {
            format!("{}, where it is {},", said(nearest, 3), is.word())
        }
    };
    if let Some(freezes_at_c) = taken.freezes_at_c {
        text.push_str(&format!(
            "; freezes at {}",
            quantity(number(freezes_at_c, 0), "degC")
        ));
    }
    for flag in flags {
        text.push_str(&match flag {
            Flag::ReMeasure => {
                let near = near();
                format!("; too near {near} to tell: measure again and give the mean")
            }
            Flag::NotAccepted => {
                "; too near the limit to be accepted: it is a safety matter".to_owned()
            }
            Flag::WorseSide => {
                "; too near the limit to tell after three readings: the worse side counts"
                    .to_owned()
            }
            Flag::WillFreeze => "; it will freeze at the forecast low".to_owned(),
            Flag::RenewBeforeNextSeason => {
                "; good for the rest of this season, renew before the next".to_owned()
            }
        });
    }
    text
}

/// Decimals that the tool can show: two figures finer than its step would be a pretence.
fn decimals(measure: &Measure) -> usize {
    let step = measure.resolution.value;
    if step >= 1.0 || step <= 0.0 {
        0
    } else {
        (-step.log10()).ceil().min(4.0) as usize
    }
}

/// The limit that a number is nearest to, and what it is from there on.
fn nearest_limit(measure: &Measure, taken: Taken) -> Option<(f64, Verdict)> {
    let limits = sides(measure, taken)
        .into_iter()
        .filter_map(|(side, value, _)| {
            let side = side.as_ref()?;
            Some(
                [
                    (side.marginal_at.value, Verdict::Marginal),
                    (side.unserviceable_at.value, Verdict::Unserviceable),
                ]
                .map(|(limit, is)| ((value - limit).abs(), (limit, is))),
            )
        });
    limits
        .flatten()
        .min_by(|left, right| left.0.total_cmp(&right.0))
        .map(|(_, limit)| limit)
}

/// The sides of the limits, the number as each takes it, and the sign that makes it grow towards its limits.
fn sides(measure: &Measure, taken: Taken) -> [(&Option<Side>, f64, f64); 2] {
    [
        (&measure.limits.low, taken.low, -1.0),
        (&measure.limits.high, taken.high, 1.0),
    ]
}

/// The limit that gives the verdict, on the side that gives it.
fn limit_met(measure: &Measure, taken: Taken, verdict: Verdict) -> Option<f64> {
    let at = |side: &Side| match verdict {
        Verdict::Unserviceable => side.unserviceable_at.value,
        _ => side.marginal_at.value,
    };
    // The one that is passed, or nearly: on a band the other side's limit is not what was met.
    let met = sides(measure, taken)
        .into_iter()
        .filter_map(|(side, value, sign)| {
            let limit = at(side.as_ref()?);
            Some((sign * (value - limit), limit))
        });
    met.max_by(|left, right| left.0.total_cmp(&right.0))
        .map(|(_, limit)| limit)
}
