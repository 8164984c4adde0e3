//! What machines of a depot teach, and that it is computed with.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use super::*;
use crate::depot::evaluate;
use crate::depot::tests::builder::{MODEL, at, depot, fresh_unit, now};
use crate::facts::{DepotFacts, Fitting, PathReading, StartFacts, UnitFacts};
use crate::sheet::{Sheet, two_stage_thrower};
use crate::unit::parts::PartState;

const CHECK: &str = "friction_ring";

/// Of what a ring has lost an hour, in mm; the sheet says 0.04.
const RATE: f64 = 0.08;

/// A thrower whose friction ring was read after 10, 25 and 40 hours; rings differ a little, and so do readings.
fn worn(number: u128) -> UnitFacts {
    let mut unit = fresh_unit(number, 40.0);
    let wave = |step: f64| (number as f64 * step).sin();
    let path = ring(&mut unit);
    path.readings = [10.0, 25.0, 40.0]
        .into_iter()
        .enumerate()
        .map(|(place, hours)| PathReading {
            check: CHECK.to_owned(),
            at: at("2025-11-10T16:00:00Z") + jiff::SignedDuration::from_hours(48 * place as i64),
            hours: Some(hours),
            value: 5.5 + 0.2 * wave(1.7) - RATE * (1.0 + 0.2 * wave(2.9)) * hours
                + 0.05 * wave(11.3 * (place + 1) as f64),
            repeats: 1,
        })
        .collect();
    unit
}

fn ring(unit: &mut UnitFacts) -> &mut crate::facts::FittedPartFacts {
    unit.parts
        .iter_mut()
        .find(|path| path.part == CHECK)
        .expect("a friction ring")
}

/// With nothing retired and nothing booked.
fn taught(facts: &DepotFacts) -> Learned {
    taught_with(facts, &BTreeMap::new())
}

fn taught_with(facts: &DepotFacts, retired: &BTreeMap<Uuid, Timestamp>) -> Learned {
    let mut fleet = Fleet::new([(MODEL, two_stage_thrower())].into(), Fasteners::default());
    fleet.look_at(facts, retired, now());
    fleet.teach().remove(&MODEL).expect("of that model")
}

fn ring_of(facts: &DepotFacts, unit: usize) -> PartState {
    let mut units = evaluate(facts, now()).units;
    let parts = units.swap_remove(unit).document.parts;
    let ring = parts.into_iter().find(|part| part.part == CHECK);
    ring.expect("its ring's state")
}

#[test]
fn rings_that_were_read_thrice_teach_how_rings_wear_and_it_is_computed_with() {
    let units = |count| (1..=count).map(worn).collect::<Vec<_>>();
    let few = taught(&depot(units(7)));
    assert_eq!(few.wear[CHECK].from, LearnedFrom::Sheet);
    assert_eq!(few.wear[CHECK].prior.rate, 0.04);

    let mut facts = depot(units(30));
    // One that nobody ever read.
    let mut unread = fresh_unit(31, 40.0);
    ring(&mut unread).readings.clear();
    facts.units.push(unread);
    let learned = taught(&facts);
    let wear = &learned.wear[CHECK];
    assert_eq!(
        (wear.from, wear.parts, wear.readings),
        (LearnedFrom::Fleet, 30, 90)
    );
    assert!((wear.prior.rate - RATE).abs() < 0.01, "{:?}", wear.prior);
    assert_eq!(learned.machines, 31);

    let before = ring_of(&facts, 30);
    facts.learned = [(MODEL, learned.clone())].into();
    let after = ring_of(&facts, 30);
    // At twice the sheet's rate; hours are told coarsely.
    let hours = |ring: &PartState| ring.measured.as_ref().unwrap().hours.p50.unwrap();
    let left = |rate: f64| 5.5 / rate - 40.0;
    let (by_sheet, by_fleet) = (left(0.04), left(wear.prior.rate));
    assert!((hours(&before) / by_sheet - 1.0).abs() < 0.1, "{before:?}");
    assert!((hours(&after) / by_fleet - 1.0).abs() < 0.2, "{after:?}");
}

#[test]
fn each_ring_of_a_machine_is_a_part_and_what_nobody_knows_the_age_of_is_none() {
    let mut unit = worn(1);
    let mut renewed = ring(&mut unit).clone();
    let when = at("2025-11-16T16:00:00Z");
    ring(&mut unit).removed_at = Some(when);
    ring(&mut unit).removed_hours = Some(40.0);
    renewed.id = Uuid::from_u128(77);
    renewed.how = Fitting::Renewed;
    renewed.fitted_at = Some(when);
    renewed.fitted_hours = Some(40.0);
    renewed.readings = vec![PathReading {
        check: CHECK.to_owned(),
        at: at("2025-11-18T16:00:00Z"),
        hours: Some(43.0),
        value: 5.4,
        repeats: 2,
    }];
    unit.parts.push(renewed);
    let mut old = worn(2);
    ring(&mut old).fitted_at = None;
    ring(&mut old).fitted_hours = None;
    old.acquired_on = None;
    let learned = taught(&depot(vec![unit, old]));
    let wear = &learned.wear[CHECK];
    assert_eq!(
        (wear.parts, wear.readings, wear.parts_of_unknown_date),
        (2, 4, 1)
    );
}

#[test]
fn machines_of_a_kind_share_their_starts() {
    let other = Uuid::from_u128(9);
    let mut units: Vec<UnitFacts> = (1..=3).map(|number| fresh_unit(number, 40.0)).collect();
    units[2].model = other;
    for unit in &mut units {
        // Good, dead after ten days, dead still, good the day after the good one before.
        for (day, started) in [
            ("02", true),
            ("12", false),
            ("13", false),
            ("14", true),
            ("15", true),
        ] {
            unit.starts.push(StartFacts {
                at: at(&format!("2025-11-{day}T16:00:00Z")),
                started,
                by: "a technician".to_owned(),
            });
        }
        unit.starts.sort_by_key(|start| start.at);
    }
    let mut facts = depot(units);
    facts.sheets.insert(other, two_stage_thrower());
    let mut fleet = Fleet::new(facts.sheets.clone(), Fasteners::default());
    fleet.look_at(&facts, &BTreeMap::new(), now());
    let lessons = fleet.teach();
    assert_eq!(lessons[&MODEL].start, lessons[&other].start);
    let start = &lessons[&MODEL].start;
    // Three machines: dead once after ten days each, good the day after, good on the 18th after three.
    assert_eq!(
        (
            start.seen.stood,
            start.seen.failed_after_standing,
            start.seen.at_once
        ),
        (6, 3, 3)
    );
}

#[test]
fn nothing_seen_is_the_sheet() {
    let sheet = two_stage_thrower();
    let nothing = Learned::nothing(&sheet);
    assert_eq!(nothing.machines, 0);
    assert!(
        nothing
            .wear
            .values()
            .all(|it| it.from == LearnedFrom::Sheet)
    );
    assert_eq!(nothing.start.from, LearnedFrom::Sheet);
    let mut facts = depot(vec![fresh_unit(1, 40.0)]);
    // A machine whose own starts and lives taught nothing either stands the same.
    facts.units[0].starts.truncate(1);
    let before = evaluate(&facts, now());
    facts.learned = [(MODEL, nothing)].into();
    let with = evaluate(&facts, now());
    assert_eq!(
        before.units[0].document.because,
        with.units[0].document.because
    );
}

/// What a machine that is gone has shown stays shown, and it ran and aged until it was retired.
#[test]
fn a_retired_machine_teaches_until_it_was_retired() {
    let mut facts = depot((1..=9).map(worn).collect());
    let all = taught(&facts);
    let gone = facts.units[8].id;
    let at_once = taught_with(&facts, &[(gone, now())].into());
    assert_eq!(at_once, all);
    let earlier = taught_with(&facts, &[(gone, at("2025-11-13T00:00:00Z"))].into());
    // Of three readings two were before, and so was no start.
    assert_eq!((earlier.machines, earlier.wear[CHECK].readings), (9, 26));
    let part = |learned: &Learned| {
        learned
            .lives
            .values()
            .map(|life| life.seen)
            .collect::<Vec<_>>()
    };
    let (all, earlier) = (part(&all), part(&earlier));
    assert!(!all.is_empty());
    for (all, earlier) in all.iter().zip(&earlier) {
        assert_eq!(all.histories, earlier.histories);
        assert!(earlier.age < all.age, "{earlier:?} {all:?}");
    }
    facts.units.pop();
    assert_eq!(taught(&facts).wear[CHECK].readings, 24);
}

#[test]
fn a_tenth_more_is_due() {
    for (then, now, due) in [
        (0, 0, false),
        (0, 1, true),
        (1, 2, true),
        (100, 109, false),
        (100, 110, true),
        (101, 111, false),
        (101, 112, true),
        // Corrected facts can make it less; that is not growth.
        (100, 50, false),
        (u64::MAX - 1, u64::MAX, false),
        (1, u64::MAX, true),
    ] {
        assert_eq!(grown_by_a_tenth(then, now), due, "{then} {now}");
    }
}

mod breaks;
mod sheets;
