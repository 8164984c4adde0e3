//! What people write down of a machine: rounds of checks, hours and starts.

use jiff::Timestamp;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::sheet::{CheckSpec, Limits, Measure, Side};
use rimeyard_rules::verdict::ReadingInput;

use super::gauge::{Setting, in_order, measured, works};
use super::machine::{Machine, noted};
use super::plan::{Inspection, MeterReading};
use super::rounds::tests_safety;

/// Share of inspections that nobody noted the hours of.
const HOURS_FORGOTTEN: f64 = 0.04;

/// The technician who reads in inches: of the agency's people.
const READS_INCHES: usize = 1;

impl Machine<'_> {
    /// A round of checks. Answers the parts to be renewed by it: those with a reading at or past the limit that
    /// `beyond` names. `otherwise`: what is answered other than the machine's state would have it.
    pub fn inspect(
        &mut self,
        kind: InspectionKind,
        at: Timestamp,
        checks: &[CheckSpec],
        otherwise: &[ReadingInput],
        beyond: Beyond,
    ) -> Vec<&'static str> {
        let inches = self.written.technician == READS_INCHES;
        let setting = self.setting(kind, at);
        let mut worn = Vec::new();
        let mut readings = Vec::with_capacity(checks.len());
        let untested = self.untested_from.is_some_and(|from| from <= at);
        for check in checks {
            if untested && tests_safety(self, &check.check) {
                continue;
            }
            if let Some(given) = otherwise.iter().find(|given| given.check == check.check) {
                readings.push(given.clone());
            } else if check.check == self.sheet.start.check {
                let starts = kind == InspectionKind::AfterRepair || self.try_start(at);
                readings.push(works(&check.check, starts));
            } else if check.check == "hour_meter"
                && self.meter_dead_from.is_some_and(|from| from <= at)
            {
                readings.push(works(&check.check, false));
            } else if let (Some((wear, truth)), Some(measure)) =
                (self.true_value(&check.check, at), check.measure())
            {
                let reading = measured(&mut self.draw, wear, measure.unit, truth, 1, inches);
                if past(&reading, check, measure, beyond) && !worn.contains(&wear.part) {
                    worn.push(wear.part);
                }
                readings.push(reading);
            } else {
                readings.push(in_order(&mut self.draw, check, setting));
            }
        }
        let dead = self.meter_dead_from.is_some_and(|from| from <= at);
        let forgotten = self.draw.chance(HOURS_FORGOTTEN);
        let run_hours = (!dead && !forgotten).then(|| noted(self.hours_at(at)));
        let id = self.draw.id(at);
        self.written.inspections.push(Inspection {
            id,
            kind,
            at,
            run_hours,
            readings,
        });
        worn
    }

    fn setting(&mut self, kind: InspectionKind, at: Timestamp) -> Setting {
        let fresh = matches!(kind, InspectionKind::PreSeason | InspectionKind::Storage);
        if fresh || at.duration_since(self.refuelled).as_hours() > 24 * 25 {
            self.refuelled = at;
        }
        let cold = matches!(kind, InspectionKind::InSeason | InspectionKind::AfterStorm);
        let spares = if fresh {
            [4.0, 4.0, 4.0, 3.0]
        } else {
            [4.0, 3.0, 3.0, 2.0]
        };
        Setting {
            air_c: (self.draw.normal(if cold { -6.0 } else { 14.0 }, 4.0)).round(),
            fuel_days: (at.duration_since(self.refuelled).as_hours() / 24) as f64
                + f64::from(u8::from(fresh)) * 2.0,
            spares: *self.draw.pick(&spares),
            gravity: self.draw.normal(1.262, 0.005),
            tired: 0.05,
        }
    }

    /// The hour meter is read, or a start is reported, by the depot's operator.
    pub fn report(&mut self, at: Timestamp, started: Option<bool>) {
        let dead = self.meter_dead_from.is_some_and(|from| from <= at);
        let hours = self.hours_at(at);
        // Estimates are whole hours, and a little over: nobody counts the pauses.
        let run_hours = if dead {
            (hours * 1.02).round()
        } else {
            noted(hours)
        };
        let id = self.draw.id(at);
        self.written.meter.push(MeterReading {
            id,
            at,
            run_hours: Some(run_hours),
            estimated: dead,
            started,
        });
    }
}

/// Past which limit a technician acts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Beyond {
    /// Before the winter: what is marginal when a machine is put away is renewed in summer.
    Marginal,
    /// In the winter: what is unserviceable.
    Unserviceable,
    /// Only looks.
    Nothing,
}

/// Whether a technician acts on this reading.
fn past(reading: &ReadingInput, check: &CheckSpec, measure: &Measure, beyond: Beyond) -> bool {
    let beyond = match beyond {
        // A belt whose take-up is used up runs on while it still rides high enough.
        Beyond::Unserviceable if measure.backed_by.is_some() => return false,
        // What would end the machine's work outright is not let go so far.
        Beyond::Unserviceable if check.effect.takes_out() && fails(&measure.limits) => {
            Beyond::Marginal
        }
        beyond => beyond,
    };
    let Some(value) = reading.value else {
        return false;
    };
    let value = if reading.unit.as_deref() == Some("in") {
        value * 25.4
    } else {
        value
    };
    is_past(value, &measure.limits, beyond)
}

fn fails(limits: &Limits) -> bool {
    let known = |side: &Option<Side>| side.as_ref().is_some_and(|side| side.fails_at.is_some());
    known(&limits.low) || known(&limits.high)
}

/// Whether a value is at or past the limits that `beyond` names.
pub fn is_past(value: f64, limits: &Limits, beyond: Beyond) -> bool {
    let at = |side: &Side| match beyond {
        Beyond::Marginal => Some(side.marginal_at.value),
        Beyond::Unserviceable => Some(side.unserviceable_at.value),
        Beyond::Nothing => None,
    };
    let low = limits
        .low
        .as_ref()
        .and_then(at)
        .is_some_and(|limit| value <= limit);
    low || limits
        .high
        .as_ref()
        .and_then(at)
        .is_some_and(|limit| value >= limit)
}
