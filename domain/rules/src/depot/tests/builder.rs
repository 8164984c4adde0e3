//! A depot and its machines, made as a loader would hand them over.

use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan, civil::Date};
use uuid::Uuid;

use crate::facts::{
    DepotFacts, DesignStorm, Duty, FittedPartFacts, Fitting, InspectionFacts, InspectionKind,
    LatestReading, MeterFacts, MonthDay, Operators, PathReading, Settings, StartFacts,
    TaskDoneFacts, UnitFacts,
};
use crate::sheet::{CheckSpec, Derived, Sheet, Work, two_stage_thrower};
use crate::verdict::{Context, ReadingInput, Verdict, judge};

/// The model of every machine.
pub const MODEL: Uuid = Uuid::from_u128(1);

/// An instant.
pub fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

/// Late November 2025, six in the morning at the depot.
pub fn now() -> Timestamp {
    at("2025-11-25T13:00:00Z")
}

/// Seven hours behind UTC all the year: no zone database is asked.
fn zone() -> TimeZone {
    TimeZone::fixed(jiff::tz::offset(-7))
}

/// 5000 m2 within 3 h, six operators, no storm named.
pub fn depot(units: Vec<UnitFacts>) -> DepotFacts {
    DepotFacts {
        id: Uuid::from_u128(2),
        name: "Upper Yard".to_owned(),
        zone: zone(),
        season_starts: MonthDay::parse("11-15").unwrap(),
        season_ends: MonthDay::parse("04-10").unwrap(),
        snow_day_mm: 25.0,
        snowfall: Vec::new(),
        typical_snow_days: 25,
        design_storm: DesignStorm::default(),
        duties: vec![duty("platforms", 5000.0, None)],
        operators: vec![operators(6)],
        storms: Vec::new(),
        orders: Vec::new(),
        wanted: Vec::new(),
        alerts: Vec::new(),
        sheets: [(MODEL, two_stage_thrower())].into(),
        learned: [].into(),
        units,
        settings: Settings::default(),
    }
}

/// A reading just inside the good side of a check's limits, or its best answer.
fn within_limits(check: &CheckSpec) -> ReadingInput {
    let mut reading = ReadingInput {
        check: check.check.clone(),
        ..ReadingInput::default()
    };
    match check.kind() {
        crate::sheet::CheckKind::Function => reading.works = Some(true),
        crate::sheet::CheckKind::Grade => {
            reading.grade = check.grades().map(|grades| grades[0].grade.clone())
        }
        crate::sheet::CheckKind::Level => {
            reading.level = check.grades().map(|levels| levels[0].grade.clone())
        }
        crate::sheet::CheckKind::Measure => {
            let measure = check.measure().unwrap();
            let new = measure.limits.as_new.value;
            let marginal = measure
                .limits
                .low
                .as_ref()
                .or(measure.limits.high.as_ref())
                .unwrap()
                .marginal_at
                .value;
            // Half way to the marginal limit; a count as new.
            let share = if measure.unit == crate::measure::Unit::Count {
                0.0
            } else {
                0.5
            };
            reading.value = Some(new + (marginal - new) * share);
            reading.unit = Some(measure.unit.symbol().to_owned());
            match &measure.derived {
                Some(Derived::Battery) => {
                    // The temperature at which gravity needs no correction, 80 degF.
                    (reading.temperature_c, reading.full_charge) =
                        (Some(80.0 / 1.8 - 32.0 / 1.8), Some(1.265));
                }
                Some(Derived::Tyre { at_c }) => reading.temperature_c = Some(at_c.value),
                None => {}
            }
        }
    }
    reading
}

/// A two-stage thrower inspected on 18 November within all limits, started then, at so many hours.
pub fn fresh_unit(number: u128, hours: f64) -> UnitFacts {
    fresh_unit_of(&two_stage_thrower(), Work::Clear, number, hours)
}

/// A unit of that sheet, rigged for `work`, inspected on 18 November within all limits, started then, at so many hours:
/// all that concerns it so rigged was answered, and no more.
pub fn fresh_unit_of(sheet: &Sheet, work: Work, number: u128, hours: f64) -> UnitFacts {
    let inspected = at("2025-11-18T16:00:00Z");
    let latest: Vec<LatestReading> = sheet
        .checks
        .iter()
        .filter(|check| sheet.check_concerns(&check.check, work))
        .map(|check| {
            let reading = within_limits(check);
            let judged = judge(check, &reading, &Context::default()).expect("a good reading");
            assert!(
                judged.verdict == Verdict::Serviceable,
                "{}: {}",
                check.check,
                judged.text
            );
            LatestReading {
                check: check.check.clone(),
                at: inspected,
                by: "a technician".to_owned(),
                verdict: judged.verdict,
                value: judged.value_si,
                grade: reading.grade.or(reading.level),
                works: reading.works,
                temperature_c: reading.temperature_c,
                full_charge: reading.full_charge,
            }
        })
        .collect();
    let parts = sheet
        .parts
        .iter()
        .enumerate()
        .map(|(index, part)| FittedPartFacts {
            id: Uuid::from_u128(number * 1000 + index as u128),
            part: part.part.clone(),
            how: Fitting::AsDelivered,
            fitted_at: Some(at("2024-10-01T16:00:00Z")),
            fitted_hours: Some(0.0),
            removed_at: None,
            removed_hours: None,
            failed: None,
            sound_at: None,
            readings: latest
                .iter()
                .filter(|reading| {
                    sheet.check_spec(&reading.check).unwrap().part.as_deref() == Some(&part.part)
                })
                .filter_map(|reading| {
                    Some(PathReading {
                        check: reading.check.clone(),
                        at: inspected,
                        hours: Some(hours),
                        value: reading.value?,
                        repeats: 1,
                    })
                })
                .collect(),
        })
        .collect();
    // What the inspection answered all checks of is done, as the loader has it.
    let answered = |check: &String| latest.iter().any(|reading| reading.check == *check);
    let tasks = sheet.tasks.iter();
    let tasks_done = tasks
        .filter(|task| !task.checks.is_empty() && task.checks.iter().all(answered))
        .map(|task| TaskDoneFacts {
            task: task.task.clone(),
            at: inspected,
            hours: Some(hours),
        })
        .collect();
    UnitFacts {
        tasks_done,
        deferrals: Vec::new(),
        id: Uuid::from_u128(1000 + number),
        tag: format!("T-{number:03}"),
        model: MODEL,
        rigging: work,
        away: None,
        acquired_on: Some(Date::constant(2024, 10, 1)),
        kept_since: Some(at("2024-10-01T16:00:00Z")),
        holds: Vec::new(),
        findings: Vec::new(),
        limited_uses: Vec::new(),
        inspections: vec![InspectionFacts {
            id: Uuid::from_u128(5),
            kind: InspectionKind::PreSeason,
            at: inspected,
            by: "a technician".to_owned(),
        }],
        starts: vec![StartFacts {
            at: inspected,
            started: true,
            by: "a technician".to_owned(),
        }],
        start_checks: Vec::new(),
        meter: vec![
            MeterFacts {
                at: at("2024-10-01T16:00:00Z"),
                hours: 0.0,
                estimated: false,
                meter_replaced: false,
            },
            MeterFacts {
                at: inspected,
                hours,
                estimated: false,
                meter_replaced: false,
            },
        ],
        parts,
        latest,
    }
}

/// Now, so many days later.
pub fn now_plus_days(days: i64) -> Timestamp {
    now().checked_add((24 * days).hours()).expect("in range")
}

/// Ground to clear within three hours.
pub fn duty(name: &str, area_m2: f64, narrowest_width_mm: Option<f64>) -> Duty {
    Duty {
        name: name.to_owned(),
        work: Work::Clear,
        class: "1".to_owned(),
        area_m2,
        clear_within_h: 3.0,
        narrowest_width_mm,
        dose_g_m2: None,
    }
}

/// Operators for the wide ground.
pub fn operators(per_shift: u32) -> Operators {
    Operators {
        work: Work::Clear,
        narrowest_width_mm: None,
        per_shift,
    }
}

/// Changes the unit's newest reading of a check, and its path's.
pub fn set_reading(unit: &mut UnitFacts, check: &str, value: f64) {
    unit.latest
        .iter_mut()
        .filter(|reading| reading.check == check)
        .for_each(|reading| reading.value = Some(value));
    let readings = unit.parts.iter_mut().flat_map(|path| &mut path.readings);
    readings
        .filter(|reading| reading.check == check)
        .for_each(|reading| reading.value = value);
}
