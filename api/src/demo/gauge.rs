//! What a technician writes down: a true value, the scatter of a hand and a gauge, and the step the gauge reads to.

use rimeyard_rules::measure::Unit;
use rimeyard_rules::sheet::{CheckSpec, Derived, Measure, Reads};
use rimeyard_rules::verdict::{ReadingInput, Verdict};

use super::draw::Draw;
use super::truth::TrueWear;

/// A measured wear, read once or as the mean of several.
pub fn measured(
    draw: &mut Draw,
    wear: &TrueWear,
    unit: Unit,
    truth: f64,
    repeats: u32,
    inches: bool,
) -> ReadingInput {
    let mean = (0..repeats)
        .map(|_| draw.normal(truth, wear.reading_sd))
        .sum::<f64>()
        / f64::from(repeats);
    let value = mean.clamp(wear.bounds.0, wear.bounds.1);
    let mut reading = if inches && unit == Unit::Millimetre {
        // Two hundredths of an inch are half a millimetre, one thousandth is a feeler's step.
        number(
            wear.check,
            stepped(value / 25.4, if wear.step >= 0.2 { 0.01 } else { 0.001 }),
            Unit::Inch,
        )
    } else {
        number(wear.check, stepped(value, wear.step), unit)
    };
    reading.repeats = (repeats > 1).then_some(repeats);
    reading
}

/// A number in a unit.
pub fn number(check: &str, value: f64, unit: Unit) -> ReadingInput {
    ReadingInput {
        check: check.to_owned(),
        value: Some(value),
        unit: Some(unit.symbol().to_owned()),
        ..ReadingInput::default()
    }
}

/// Whether it works.
pub fn works(check: &str, works: bool) -> ReadingInput {
    ReadingInput {
        check: check.to_owned(),
        works: Some(works),
        ..ReadingInput::default()
    }
}

/// The value to the gauge's step, without the crumbs of binary arithmetic.
pub fn stepped(value: f64, step: f64) -> f64 {
    let steps = (value / step).round();
    let value = (steps * step * 10_000.0).round() / 10_000.0;
    // No minus zero on paper.
    if value == 0.0 { 0.0 } else { value }
}

/// One of the check's answers of that verdict, or its best where it has none of it.
pub fn chosen(draw: &mut Draw, check: &CheckSpec, verdict: Verdict) -> ReadingInput {
    let all = check.grades().unwrap_or_default();
    let fitting: Vec<_> = all
        .iter()
        .filter(|grade| grade.verdict == verdict)
        .collect();
    let grade = match fitting.as_slice() {
        [] => all.first().map(|grade| grade.grade.clone()),
        some => Some(draw.pick(some).grade.clone()),
    };
    let mut reading = ReadingInput {
        check: check.check.clone(),
        ..ReadingInput::default()
    };
    match check.reads {
        Reads::Level(_) => reading.level = grade,
        _ => reading.grade = grade,
    }
    reading
}

/// The circumstances of an inspection that such readings depend on.
#[derive(Debug, Clone, Copy)]
pub struct Setting {
    /// Air in the yard or shop, degC.
    pub air_c: f64,
    /// Age of the fuel in the tank, days.
    pub fuel_days: f64,
    /// Shear fasteners aboard.
    pub spares: f64,
    /// True gravity of the battery at 26.7 degC.
    pub gravity: f64,
    /// Chance that an answer by eye is "worse than good" on a sound machine.
    pub tired: f64,
}

/// A check that is no measured wear, on a machine that is in order.
pub fn in_order(draw: &mut Draw, check: &CheckSpec, setting: Setting) -> ReadingInput {
    match &check.reads {
        Reads::Function => works(&check.check, true),
        Reads::Grade(_) | Reads::Level(_) => {
            let tired = draw.chance(setting.tired) && check.check != "shear_fasteners";
            chosen(
                draw,
                check,
                if tired {
                    Verdict::Marginal
                } else {
                    Verdict::Serviceable
                },
            )
        }
        Reads::Measure(measure) => other_measure(draw, check, measure, setting),
    }
}

fn other_measure(
    draw: &mut Draw,
    check: &CheckSpec,
    measure: &Measure,
    setting: Setting,
) -> ReadingInput {
    let code = check.check.as_str();
    let as_new = measure.limits.as_new.value;
    match (code, &measure.derived) {
        (_, Some(Derived::Tyre { .. })) => {
            // Blown up to a little under what is right for the cold: 16.5 psi where that is 117 kPa (17 psi).
            let right_psi = as_new / 6.894_757 - 0.5;
            let psi = stepped(draw.normal(right_psi, 0.04 * right_psi), 0.5);
            let mut reading = number(code, psi, Unit::Psi);
            reading.temperature_c = Some(setting.air_c);
            reading
        }
        (_, Some(Derived::Battery)) => {
            // A hydrometer reads low in warm acid and high in cold: 0.00072 per degC (the trade's 0.004 per 10 degF).
            let cold = (26.7 - setting.air_c) * 0.00072;
            let read = stepped(draw.normal(setting.gravity + cold, 0.003), 0.005);
            let mut reading = number(code, read, Unit::SpecificGravity);
            reading.temperature_c = Some(setting.air_c);
            reading.full_charge = Some(1.265);
            reading
        }
        ("battery_cells", _) => number(
            code,
            stepped(draw.between(0.0, 0.012), 0.005),
            Unit::SpecificGravity,
        ),
        // A step of the gauge or two.
        ("tyre_difference", _) => number(
            code,
            measure.resolution.value * setting.air_c.rem_euclid(3.0),
            measure.unit,
        ),
        ("brine_strength", _) => number(code, stepped(draw.normal(as_new, 0.4), 0.5), measure.unit),
        ("calibration", _) => number(code, stepped(draw.normal(2.0, 3.0), 1.0), measure.unit),
        ("fuel_age", _) => number(code, setting.fuel_days, measure.unit),
        ("shear_spares", _) => number(code, setting.spares, measure.unit),
        // Gaps and slacks that are set, not worn: near what the sheet calls new, well within its limits.
        _ => {
            let step = measure.resolution.value.max(0.1);
            number(
                code,
                stepped(draw.normal(as_new, 0.08 * as_new), step),
                measure.unit,
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gauge_reads_in_its_steps() {
        assert_eq!(stepped(5.437, 0.1), 5.4);
        assert_eq!(stepped(-1.74, 0.25), -1.75);
        assert_eq!(stepped(-0.02, 0.25).to_string(), "0");
        assert_eq!(stepped(0.7871, 0.02), 0.78);
    }
}
