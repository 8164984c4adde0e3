//! A depot's chain from readings to score, on the default sheet.

use jiff::tz::TimeZone;

use super::*;
use crate::facts::{
    DesignStorm, Duty, FindingFacts, FittedPartFacts, Fitting, HoldFacts, InspectionFacts,
    InspectionKind, LatestReading, LimitedUseFacts, MeterFacts, MonthDay, Operators, PathReading,
    Settings, StartFacts, StormFacts, UnitFacts,
};
use crate::sheet::{CheckSpec, Effect, Work, two_stage_thrower};
use crate::unit::parts::Advice;
use crate::verdict::{Context, ReadingInput, Verdict, judge};

const MODEL: Uuid = Uuid::from_u128(1);

fn at(text: &str) -> Timestamp {
    text.parse().expect("an instant")
}

/// Late November 2025, six in the morning at the depot.
fn now() -> Timestamp {
    at("2025-11-25T13:00:00Z")
}

/// Seven hours behind UTC all the year: no zone database is asked.
fn zone() -> TimeZone {
    TimeZone::fixed(jiff::tz::offset(-7))
}

fn depot(units: Vec<UnitFacts>) -> DepotFacts {
    DepotFacts {
        id: Uuid::from_u128(2),
        name: "Upper Yard".to_owned(),
        zone: zone(),
        season_starts: MonthDay::parse("11-15").unwrap(),
        season_ends: MonthDay::parse("04-10").unwrap(),
        typical_snow_days: 25,
        design_storm: DesignStorm::default(),
        duties: vec![Duty {
            name: "platforms".to_owned(),
            work: Work::Clear,
            class: "1".to_owned(),
            area_m2: 5000.0,
            clear_within_h: 3.0,
            narrowest_width_mm: None,
        }],
        operators: vec![Operators {
            work: Work::Clear,
            narrowest_width_mm: None,
            per_shift: 6,
        }],
        storms: Vec::new(),
        sheets: [(MODEL, two_stage_thrower())].into(),
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
        }
    }
    reading
}

/// A unit inspected on 18 November within all limits, started then, at so many hours.
fn fresh_unit(number: u128, hours: f64) -> UnitFacts {
    let sheet = two_stage_thrower();
    let inspected = at("2025-11-18T16:00:00Z");
    let latest: Vec<LatestReading> = sheet
        .checks
        .iter()
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
                temperature_c: None,
                full_charge: None,
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
    UnitFacts {
        id: Uuid::from_u128(1000 + number),
        tag: format!("T-{number:03}"),
        model: MODEL,
        rigging: Work::Clear,
        away: None,
        acquired_on: Some(Date::constant(2024, 10, 1)),
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
        meter: vec![
            MeterFacts {
                at: at("2024-10-01T16:00:00Z"),
                hours: 0.0,
                estimated: false,
            },
            MeterFacts {
                at: inspected,
                hours,
                estimated: false,
            },
        ],
        parts,
        latest,
    }
}

/// The text of a part's advice, of the only unit.
fn part<'e>(evaluation: &'e Evaluation, part: &str) -> &'e crate::unit::parts::PartState {
    evaluation.units[0]
        .document
        .parts
        .iter()
        .find(|state| state.part == part)
        .expect(part)
}

/// Section 7: every default sheet, freshly inspected within limits and started within 14 days, is ready for the default
/// design storm.
#[test]
fn the_default_sheet_fresh_within_limits_is_ready_for_the_design_storm() {
    for hours in [2.0, 40.0, 90.0, 150.0] {
        for started in ["2025-11-11T16:00:00Z", "2025-11-24T16:00:00Z"] {
            let mut unit = fresh_unit(1, hours);
            unit.starts[0].at = at(started);
            unit.latest
                .iter_mut()
                .filter(|reading| reading.check == "engine_start")
                .for_each(|reading| reading.at = at(started));
            let evaluation = evaluate(&depot(vec![unit]), now());
            let document = &evaluation.units[0].document;
            println!(
                "{hours} {started} {:?} {}\n{}",
                document.status,
                document.chance,
                serde_json::to_string_pretty(&document).unwrap()
            );
            assert_eq!(
                document.status,
                Status::Ready,
                "{hours} h, started {started}: {:#?}",
                document.because
            );
        }
    }
}
