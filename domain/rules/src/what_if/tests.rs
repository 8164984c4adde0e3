//! What a depot would come to, on the default sheet.

use super::*;
use crate::depot::evaluate;
use crate::depot::tests::builder::{
    depot, duty, fresh_unit, now, now_plus_days, operators, set_reading,
};
use crate::facts::{FindingFacts, HoldFacts, LimitedUseFacts, OrderFacts, StartFacts, StormFacts};
use crate::sheet::Effect;
use crate::unit::standing::Status;
use crate::verdict::Verdict;

fn ids(numbers: &[u128]) -> Vec<Uuid> {
    numbers
        .iter()
        .map(|number| Uuid::from_u128(1000 + number))
        .collect()
}

fn machines(count: u128) -> Vec<crate::facts::UnitFacts> {
    (1..=count).map(|number| fresh_unit(number, 60.0)).collect()
}

fn asked(facts: &DepotFacts, supposed: &Supposed) -> WhatIf {
    what_if(facts, supposed, now()).unwrap()
}

fn score(facts: &DepotFacts, supposed: &Supposed) -> f64 {
    asked(facts, supposed).depot.score.unwrap()
}

#[test]
fn nothing_supposed_is_what_stands() {
    let mut facts = depot(machines(7));
    facts.storms = vec![coming()];
    let stands = evaluate(&facts, now());
    let told = asked(&facts, &Supposed::default());
    assert_eq!(told.depot, stands.depot.document);
    let documents: Vec<_> = stands.units.into_iter().map(|unit| unit.document).collect();
    assert_eq!(told.machines, documents);
    assert_eq!(told.supposed_storm.named.name, "storm 7");
}

fn coming() -> StormFacts {
    StormFacts {
        id: Uuid::from_u128(7),
        name: "storm 7".to_owned(),
        starts_at: now_plus_days(2),
        ends_at: now_plus_days(3),
        depth_mm: 150.0,
        reclear_mm: 50.0,
        density_kg_m3: Some(120.0),
        temperature_c: Some(-6.0),
        low_c: None,
    }
}

#[test]
fn a_storm_is_otherwise_in_what_is_supposed_and_else_as_it_is() {
    let mut facts = depot(machines(7));
    facts.storms = vec![coming()];
    let deeper = Supposed {
        storm: SupposedStorm {
            depth_mm: Some(300.0),
            ..SupposedStorm::default()
        },
        ..Supposed::default()
    };
    let told = asked(&facts, &deeper);
    let storm = &told.supposed_storm;
    assert_eq!(storm.named.name, "storm 7 as supposed");
    assert_eq!(
        (storm.named.id, storm.named.ends_at),
        (Some(coming().id), Some(coming().ends_at))
    );
    assert_eq!(
        (
            storm.hours,
            storm.depth_mm,
            storm.reclear_mm,
            storm.density_kg_m3
        ),
        (24.0, 300.0, 50.0, 120.0)
    );
    assert_eq!(told.depot.works[0].cycles, 6);
    // As if it had been entered so.
    let mut entered = facts.clone();
    entered.storms[0].depth_mm = 300.0;
    assert_eq!(
        told.depot.score,
        evaluate(&entered, now()).depot.document.score
    );
    // Milder air brings heavier snow, unless its density is given too.
    let milder = |density_kg_m3| Supposed {
        storm: SupposedStorm {
            temperature_c: Some(3.0),
            density_kg_m3,
            ..SupposedStorm::default()
        },
        ..Supposed::default()
    };
    assert_eq!(
        asked(&facts, &milder(None)).supposed_storm.density_kg_m3,
        200.0
    );
    assert_eq!(
        asked(&facts, &milder(Some(90.0)))
            .supposed_storm
            .density_kg_m3,
        90.0
    );
    // The design storm gets a time by its start; a longer one ends later.
    facts.storms.clear();
    let dated = Supposed {
        storm: SupposedStorm {
            starts_at: Some(now_plus_days(20)),
            hours: Some(30.0),
            ..SupposedStorm::default()
        },
        ..Supposed::default()
    };
    let told = asked(&facts, &dated);
    let ends_at = told.supposed_storm.named.ends_at.unwrap();
    assert_eq!(
        ends_at.duration_since(now_plus_days(20)),
        SignedDuration::from_hours(30)
    );
    // The machines will have stood longer.
    let chance = |told: &WhatIf| told.machines[0].chance;
    assert!(chance(&told) < chance(&asked(&facts, &Supposed::default())));
}

#[test]
fn a_use_that_is_admitted_for_the_storm_stays_admitted_in_a_deeper_one() {
    let mut facts = depot(machines(1));
    facts.storms = vec![coming()];
    facts.units[0].limited_uses.push(LimitedUseFacts {
        id: Uuid::from_u128(9),
        reason: "day only".to_owned(),
        named_by: "a lead".to_owned(),
        starts_at: now_plus_days(-1),
        ends_at: now_plus_days(9),
        admitted_storm: Some(coming().id),
    });
    let deeper = Supposed {
        storm: SupposedStorm {
            depth_mm: Some(400.0),
            ..SupposedStorm::default()
        },
        ..Supposed::default()
    };
    let machine = &asked(&facts, &deeper).machines[0];
    assert!(machine.status == Status::Limited && machine.counts);
}

/// 14,000 m2 in five cycles ask for 5,560 m2/h: six machines of 1,070 keep up and five do not.
#[test]
fn a_machine_that_is_left_out_does_not_count() {
    let mut facts = depot(machines(7));
    facts.duties = vec![duty("platforms", 14_000.0, None)];
    let without = |numbers: &[u128]| Supposed {
        without: ids(numbers),
        ..Supposed::default()
    };
    let stands = evaluate(&facts, now());
    let one = asked(&facts, &without(&[2]));
    assert_eq!((one.depot.units.ready, one.depot.units.away), (6, 1));
    assert_eq!(
        one.machines[1].away.as_deref(),
        Some("left out, as supposed")
    );
    assert!(!one.machines[1].counts && one.machines[0].counts);
    assert!(one.depot.score < stands.depot.document.score);
    assert_eq!(score(&facts, &without(&[2, 3])), 0.0);
    // What its history has taught is still known: six run as many hours as before.
    assert_eq!(one.machines[0], stands.units[0].document);
}

/// Held, with a finding, reported, dead, worn past its limit, not inspected and away: put right it is ready, and as good as
/// one that is fresh.
#[test]
fn a_machine_that_is_put_right_is_ready_whatever_was_wrong() {
    let mut facts = depot(machines(7));
    let id = facts.units[0].id;
    facts.orders.push(OrderFacts {
        id: Uuid::from_u128(60),
        unit_id: id,
        tag: "T-001".to_owned(),
        title: "will not throw".to_owned(),
        planned_for: None,
        opened_at: now_plus_days(-2),
        fault: Some(crate::facts::Fault {
            symptom: "will not throw".to_owned(),
            at: now_plus_days(-2),
        }),
    });
    let unit = &mut facts.units[0];
    unit.holds.push(HoldFacts {
        id: Uuid::from_u128(8),
        reason: "smells of fuel".to_owned(),
        placed_at: now_plus_days(-1),
        placed_by: "a technician".to_owned(),
        finding_id: None,
    });
    unit.findings.push(FindingFacts {
        id: Uuid::from_u128(77),
        check: "spark_plug_gap".to_owned(),
        effect: Effect::Stop,
        text: "cracked".to_owned(),
        opened_at: now_plus_days(-1),
    });
    unit.starts.push(StartFacts {
        at: now_plus_days(-1),
        started: false,
        by: "an operator".to_owned(),
    });
    unit.inspections.clear();
    unit.tasks_done.clear();
    unit.away = Some("the shop".to_owned());
    set_reading(unit, "friction_ring", 0.0);
    for reading in &mut unit.latest {
        match reading.check.as_str() {
            "friction_ring" => reading.verdict = Verdict::Unserviceable,
            // Last looked at two winters ago.
            "auger_stops" => reading.at = now_plus_days(-600),
            _ => {}
        }
    }
    let before = &evaluate(&facts, now()).units[0].document;
    assert_eq!((before.status, before.counts), (Status::Held, false));
    let right = Supposed {
        repaired: ids(&[1]),
        ..Supposed::default()
    };
    let told = asked(&facts, &right);
    let machine = &told.machines[0];
    assert_eq!(
        (machine.status, machine.counts),
        (Status::Ready, true),
        "{}",
        machine.summary
    );
    assert!(machine.findings.is_empty() && machine.away.is_none());
    let fresh = evaluate(&depot(machines(7)), now()).units[0]
        .document
        .chance;
    assert!(
        (machine.chance - fresh).abs() <= 0.02,
        "{} {fresh}",
        machine.chance
    );
    assert_eq!(told.depot.units.ready, 7);
}

/// A part that was never measured is taken for new; one that was, be it two winters ago, goes on wearing from there.
#[test]
fn what_was_measured_goes_on_wearing_and_what_was_not_is_new() {
    let right = Supposed {
        repaired: ids(&[1]),
        ..Supposed::default()
    };
    let ring = |facts: &DepotFacts| {
        let told = asked(facts, &right);
        let machine = &told.machines[0];
        assert!(machine.status > Status::Unproven, "{}", machine.summary);
        let part = machine
            .parts
            .iter()
            .find(|part| part.part == "friction_ring");
        part.expect("it has one").lasts.storm
    };
    let mut unseen = depot(vec![fresh_unit(1, 300.0)]);
    unseen.units[0].latest.clear();
    unseen.units[0].inspections.clear();
    unseen.units[0].meter.clear();
    unseen.units[0].acquired_on = Some(jiff::civil::Date::constant(2018, 10, 1));
    for path in &mut unseen.units[0].parts {
        path.fitted_at = Some(now_plus_days(-2600));
        path.readings.clear();
    }
    let before = evaluate(&unseen, now()).units[0].document.clone();
    let before = before
        .parts
        .iter()
        .find(|part| part.part == "friction_ring");
    assert!(before.unwrap().lasts.storm < 0.2);
    assert_eq!(ring(&unseen), 1.0);
    let mut worn = depot(vec![fresh_unit(1, 300.0)]);
    set_reading(&mut worn.units[0], "friction_ring", 0.7);
    for reading in &mut worn.units[0].latest {
        reading.at = now_plus_days(-600);
    }
    worn.units[0].inspections.clear();
    let known = evaluate(&worn, now()).units[0].document.clone();
    let known = known.parts.iter().find(|part| part.part == "friction_ring");
    assert_eq!(ring(&worn), known.unwrap().lasts.storm);
    assert!(ring(&worn) < 1.0);
}

/// A start that is only supposed says nothing of how others start after standing.
#[test]
fn what_is_supposed_teaches_nothing() {
    let mut facts = depot(machines(4));
    for unit in &mut facts.units {
        for start in &mut unit.starts {
            start.at = now_plus_days(-150);
        }
        for reading in unit
            .latest
            .iter_mut()
            .filter(|one| one.check == "engine_start")
        {
            reading.at = now_plus_days(-150);
        }
    }
    let right = Supposed {
        repaired: ids(&[1]),
        ..Supposed::default()
    };
    let (told, stands) = (asked(&facts, &right), evaluate(&facts, now()));
    assert!(told.machines[0].chance > stands.units[0].document.chance);
    for (told, stands) in told.machines.iter().zip(&stands.units).skip(1) {
        assert_eq!(told, &stands.document);
    }
}

#[test]
fn operators_are_those_supposed() {
    let mut facts = depot(machines(7));
    facts.duties = vec![duty("platforms", 14_000.0, None)];
    let with = |per_shift| Supposed {
        operators: Some(vec![operators(per_shift)]),
        ..Supposed::default()
    };
    assert_eq!(
        asked(&facts, &with(6)).depot,
        evaluate(&facts, now()).depot.document
    );
    let stands = evaluate(&facts, now()).depot.document;
    // As the readiness itself has it of one operator fewer.
    assert_eq!(
        Some(score(&facts, &with(5))),
        stands.works[0].one_operator_fewer
    );
    assert_eq!(asked(&facts, &with(2)).depot.operators, Some(2));
    assert!(stands.score > Some(80.0), "{:?}", stands.score);
    assert_eq!(score(&facts, &with(5)), 0.0);
}

#[test]
fn what_cannot_be_is_refused_by_its_field() {
    let mut facts = depot(machines(2));
    let fields = |facts: &DepotFacts, supposed: &Supposed| -> Vec<String> {
        let faults = what_if(facts, supposed, now()).unwrap_err();
        faults.into_iter().map(|fault| fault.field).collect()
    };
    let of_storm = |facts: &DepotFacts, change: fn(&mut SupposedStorm)| {
        let mut supposed = Supposed::default();
        change(&mut supposed.storm);
        fields(facts, &supposed)
    };
    assert_eq!(
        of_storm(&facts, |storm| storm.hours = Some(0.0)),
        ["storm.hours"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.hours = Some(f64::NAN)),
        ["storm.hours"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.depth_mm = Some(5001.0)),
        ["storm.depth_mm"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.reclear_mm = Some(0.5)),
        ["storm.reclear_mm"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.density_kg_m3 = Some(9.0)),
        ["storm.density_kg_m3"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.temperature_c = Some(21.0)),
        ["storm.temperature_c"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.low_c = Some(-81.0)),
        ["storm.low_c"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.starts_at = Some(now_plus_days(367))),
        ["storm.starts_at"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.starts_at = Some(now_plus_days(-15))),
        ["storm.starts_at"]
    );
    assert_eq!(
        of_storm(&facts, |storm| storm.starts_at = Some(now_plus_days(-1))),
        ["storm.starts_at"]
    );
    let begun = StormFacts {
        starts_at: now_plus_days(-1),
        ends_at: now_plus_days(1),
        ..coming()
    };
    facts.storms = vec![begun];
    assert_eq!(
        of_storm(&facts, |storm| storm.hours = Some(2.0)),
        ["storm.hours"]
    );
    let supposed = Supposed {
        storm: SupposedStorm {
            hours: Some(-1.0),
            ..SupposedStorm::default()
        },
        without: ids(&[1, 1, 3]),
        repaired: ids(&[2, 1]),
        operators: Some(vec![operators(1001)]),
    };
    assert_eq!(
        fields(&facts, &supposed),
        [
            "storm.hours",
            "without[1]",
            "without[2]",
            "repaired[1]",
            "operators[0].per_shift"
        ]
    );
    let twice = Supposed {
        operators: Some(vec![operators(1), operators(2)]),
        ..Supposed::default()
    };
    assert_eq!(
        fields(&facts, &twice),
        ["operators[0].work"].map(|_| "operators[1].work")
    );
    let many = Supposed {
        operators: Some(vec![operators(1); 51]),
        ..Supposed::default()
    };
    assert_eq!(fields(&facts, &many), ["operators"]);
}
