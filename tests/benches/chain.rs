//! How fast one unit's whole chain is: 13 measured parts with 15 measures of 6 readings each, 12 parts with a life.
//!
//! `cargo bench -p rimeyard-tests --bench chain`. The aim: 10,000 units a second on one core, so under 100 microseconds.

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use jiff::{Timestamp, ToSpan, civil::Date, tz::TimeZone};
use rimeyard_rules::depot::evaluate;
use rimeyard_rules::facts::{
    DepotFacts, DesignStorm, Duty, FittedPartFacts, Fitting, InspectionFacts, InspectionKind,
    LatestReading, MeterFacts, MonthDay, Operators, PathReading, Settings, StartFacts, UnitFacts,
};
use rimeyard_rules::sheet::{Sheet, Work, two_stage_thrower};
use rimeyard_rules::verdict::Verdict;
use uuid::Uuid;

const READINGS: i64 = 6;
const MODEL: Uuid = Uuid::from_u128(1);

fn now() -> Timestamp {
    Timestamp::constant(1_764_075_600, 0)
}

/// The instant of reading `index`: one a month, the last a week ago.
fn read_at(index: i64) -> Timestamp {
    now()
        .saturating_sub(((READINGS - 1 - index) * 24 * 30 + 24 * 7).hours())
        .expect("in range")
}

/// A machine that ran 12 hours from one reading to the next, its parts worn as the sheet says.
fn unit(number: u128, sheet: &Sheet) -> UnitFacts {
    let by = "a technician".to_owned();
    let hours = |index: i64| 12.0 * (index + 1) as f64;
    let parts = sheet
        .parts
        .iter()
        .enumerate()
        .map(|(place, part)| FittedPartFacts {
            id: Uuid::from_u128(number * 1000 + place as u128),
            part: part.part.clone(),
            how: Fitting::Renewed,
            fitted_at: Some(read_at(-1)),
            fitted_hours: Some(0.0),
            removed_at: None,
            removed_hours: None,
            failed: None,
            sound_at: None,
            readings: sheet
                .wear_checks(&part.part)
                .flat_map(|(check, measure, wear)| {
                    let sign = if measure.limits.high.is_some() {
                        1.0
                    } else {
                        -1.0
                    };
                    (0..READINGS).map(move |index| PathReading {
                        check: check.check.clone(),
                        at: read_at(index),
                        hours: Some(hours(index)),
                        value: measure.limits.as_new.value + sign * wear.rate.value * hours(index),
                        repeats: 1,
                    })
                })
                .collect(),
        });
    let latest = sheet.checks.iter().map(|check| LatestReading {
        check: check.check.clone(),
        at: read_at(READINGS - 1),
        by: by.clone(),
        verdict: Verdict::Serviceable,
        value: (check.check == "shear_spares").then_some(4.0),
        grade: None,
        works: Some(true),
        temperature_c: None,
        full_charge: None,
    });
    UnitFacts {
        id: Uuid::from_u128(10_000 + number),
        tag: format!("T-{number:03}"),
        model: MODEL,
        rigging: Work::Clear,
        away: None,
        acquired_on: Some(Date::constant(2024, 10, 1)),
        kept_since: Some(read_at(-1)),
        holds: Vec::new(),
        findings: Vec::new(),
        limited_uses: Vec::new(),
        inspections: (0..READINGS)
            .map(|index| InspectionFacts {
                id: Uuid::from_u128(index as u128),
                kind: InspectionKind::InSeason,
                at: read_at(index),
                by: by.clone(),
            })
            .collect(),
        starts: (0..READINGS)
            .map(|index| StartFacts {
                at: read_at(index),
                started: true,
                by: by.clone(),
            })
            .collect(),
        start_checks: Vec::new(),
        meter: (0..READINGS)
            .map(|index| MeterFacts {
                at: read_at(index),
                hours: hours(index),
                estimated: false,
                meter_replaced: false,
            })
            .collect(),
        parts: parts.collect(),
        latest: latest.collect(),
        tasks_done: Vec::new(),
        deferrals: Vec::new(),
    }
}

fn depot(units: u128) -> DepotFacts {
    let sheet = two_stage_thrower();
    DepotFacts {
        id: Uuid::from_u128(2),
        name: "Upper Yard".to_owned(),
        zone: TimeZone::fixed(jiff::tz::offset(-7)),
        season_starts: MonthDay::parse("11-15").expect("a day"),
        season_ends: MonthDay::parse("04-10").expect("a day"),
        snow_day_mm: 25.0,
        snowfall: Vec::new(),
        typical_snow_days: 25,
        design_storm: DesignStorm::default(),
        duties: vec![Duty {
            name: "platforms".to_owned(),
            work: Work::Clear,
            class: "1".to_owned(),
            area_m2: 12_000.0,
            clear_within_h: 3.0,
            narrowest_width_mm: None,
            dose_g_m2: None,
        }],
        operators: vec![Operators {
            work: Work::Clear,
            narrowest_width_mm: None,
            per_shift: 12,
        }],
        storms: Vec::new(),
        orders: Vec::new(),
        wanted: Vec::new(),
        alerts: Vec::new(),
        learned: [].into(),
        units: (0..units).map(|number| unit(number, &sheet)).collect(),
        sheets: [(MODEL, sheet)].into(),
        settings: Settings::default(),
    }
}

fn chain(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("chain");
    for units in [1, 20, 100] {
        let facts = depot(units);
        group.throughput(Throughput::Elements(units as u64));
        group.bench_function(format!("a depot of {units} units"), |bencher| {
            bencher.iter(|| evaluate(black_box(&facts), black_box(now())));
        });
    }
    group.finish();
}

criterion_group!(benches, chain);
criterion_main!(benches);
