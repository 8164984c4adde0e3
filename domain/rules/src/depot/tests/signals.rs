//! What an evaluation tells of (section 10): of what, how badly, and from where to where it says neither yes nor no.

use super::builder::fresh_unit_of;
use super::*;
use crate::alerts::{AlertKind, Severity, Signal};
use crate::facts::Fitting;
use crate::sheet::battery_checks;

/// What is told of that kind: none, or one.
fn told_at(facts: &DepotFacts, kind: AlertKind, as_of: jiff::Timestamp) -> Option<Signal> {
    let signals = evaluate(facts, as_of).signals;
    let mut told = signals.into_iter().filter(|one| one.kind == kind);
    let first = told.next();
    assert_eq!(told.next(), None, "one of a kind and subject");
    first
}

fn told(facts: &DepotFacts, kind: AlertKind) -> Option<Signal> {
    told_at(facts, kind, now())
}

/// How badly, and the words; `None` in between.
fn raised(signal: Option<Signal>) -> Option<(Severity, String)> {
    signal.expect("it is told").raised
}

/// A specific gravity of 1.150 freezes at +5 degF (the handbook table that battery.rs names), which is -15\u{202f}degC.
#[test]
fn a_battery_that_freezes_in_the_coming_storm_is_to_be_seen_to_today() {
    let mut sheet = crate::sheet::two_stage_thrower();
    sheet.checks.extend(battery_checks());
    let mut unit = fresh_unit_of(&sheet, Work::Clear, 1, 60.0);
    set_reading(&mut unit, "battery_charge", 1.150);
    let mut facts = depot(vec![unit]);
    facts.sheets.insert(MODEL, sheet);
    facts.design_storm.low_c = Some(-14.0);
    assert_eq!(told(&facts, AlertKind::BatteryWillFreeze), None);
    facts.design_storm.low_c = Some(-16.0);
    let (severity, text) = raised(told(&facts, AlertKind::BatteryWillFreeze)).expect("raised");
    assert_eq!(
        (severity, text.as_str()),
        (
            Severity::Urgent,
            "T-001: its battery, read 18 Nov 2025, freezes at -15\u{202f}degC; -16\u{202f}degC is forecast"
        )
    );
}

/// The season begins on 15 November; of a machine last heard of before it, silence counts from there.
#[test]
fn a_machine_is_not_heard_of_when_thirty_days_of_the_season_brought_no_word() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let silent =
        |facts: &DepotFacts, days| told_at(facts, AlertKind::UnitNotHeardOf, now_plus_days(days));
    // Inspected on 18 November; 18 December is 23 days from the 25th.
    assert_eq!(silent(&facts, 23), None);
    let (severity, text) = raised(silent(&facts, 24)).expect("raised");
    assert_eq!(
        (severity, text.as_str()),
        (
            Severity::Notice,
            "T-001: nothing heard of it since 18 Nov 2025"
        )
    );
    // After the season nobody expects word: 10 April is 136 days on.
    assert!(silent(&facts, 136).is_some());
    assert_eq!(silent(&facts, 137), None);

    let before = at("2025-10-01T16:00:00Z");
    let unit = &mut facts.units[0];
    unit.inspections[0].at = before;
    unit.starts[0].at = before;
    unit.meter[1].at = before;
    unit.tasks_done.iter_mut().for_each(|done| done.at = before);
    // 15 December is 20 days on, and 30 from the season's first.
    assert_eq!(silent(&facts, 20), None);
    assert!(silent(&facts, 21).is_some());

    // A start, a hold or a meter reading is word of it; away it is another's to tell.
    let word = crate::facts::StartFacts {
        at: now_plus_days(5),
        started: false,
        by: "an operator".to_owned(),
    };
    facts.units[0].starts.push(word);
    assert_eq!(silent(&facts, 21), None);
    facts.units[0].starts.pop();
    facts.units[0].away = Some("the maker's shop".to_owned());
    assert_eq!(silent(&facts, 21), None);
}

/// Section 4's floor for a season is 0.80: under it told of, from 0.85 on well again, in between neither.
#[test]
fn a_part_is_told_of_under_its_floor_and_well_again_over_it_by_a_margin() {
    let at_ride = |ride: f64| {
        let mut unit = fresh_unit(1, 40.0);
        set_reading(&mut unit, "auger_belt_ride", ride);
        set_reading(&mut unit, "auger_take_up", 95.0);
        depot(vec![unit])
    };
    let season = |facts: &DepotFacts| {
        part(&evaluate(facts, now()), "auger_belt")
            .lasts
            .this_season
    };
    let mut seen = [false; 3];
    for step in 0..60 {
        let facts = at_ride(0.3 - 0.05 * f64::from(step));
        let chance = season(&facts);
        let signal = told(&facts, AlertKind::PartWillNotLast);
        let case = match chance {
            _ if chance < 0.80 => {
                let (severity, text) = raised(signal).expect("raised");
                assert_eq!(text, "T-001: will not see this season out: auger belt");
                let now = part(&evaluate(&facts, now()), "auger_belt").advice == Advice::RenewNow;
                assert_eq!(severity == Severity::Warning, now, "{chance}");
                0
            }
            _ if chance < 0.85 => {
                assert_eq!(raised(signal), None, "{chance}");
                1
            }
            _ => {
                assert_eq!(signal, None, "{chance}");
                2
            }
        };
        seen[case] = true;
    }
    assert_eq!(seen, [true; 3], "each side and between were met");

    // Of what nobody measured nothing is told.
    let mut facts = at_ride(-2.7);
    let belt = facts.units[0]
        .parts
        .iter_mut()
        .find(|path| path.part == "auger_belt");
    let belt = belt.expect("its belt");
    assert_eq!(belt.how, Fitting::AsDelivered);
    (belt.fitted_at, belt.fitted_hours) = (None, None);
    belt.readings.clear();
    assert_eq!(told(&facts, AlertKind::PartWillNotLast), None);
}

/// Ground that one machine keeps clear scores as often as that one works; the floor is put around it.
#[test]
fn a_depot_is_told_of_under_its_floor_and_well_again_five_points_over_it() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    facts.duties = vec![duty("platforms", 500.0, None)];
    facts
        .storms
        .push(storm(1, "2025-11-26T00:00:00Z", "2025-11-26T12:00:00Z"));
    let score = evaluate(&facts, now()).depot.document.score.expect("asked");
    assert!((50.0..100.0).contains(&score), "{score}");
    let mut with_floor = |floor: f64| {
        facts.settings.score_floor = floor;
        told(&facts, AlertKind::DepotShort)
    };
    assert_eq!(with_floor(score - 5.0), None);
    assert_eq!(with_floor(score - 4.9).map(|one| one.raised), Some(None));
    assert_eq!(with_floor(score).map(|one| one.raised), Some(None));
    let (severity, text) = raised(with_floor(score + 0.1)).expect("raised");
    assert_eq!(severity, Severity::Warning);
    assert!(text.contains("to keep up with storm 1, under"), "{text}");
}
