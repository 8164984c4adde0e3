//! A crew's sheet, on the default sheets.

use super::*;
use crate::depot::evaluate;
use crate::depot::tests::builder::{
    MODEL, at, depot, duty, fresh_unit, fresh_unit_of, now, now_plus_days,
};
use crate::facts::StormFacts;
use crate::sheet::{Figure, default_sheet};

/// 10 m/s and -30 degC.
const BITTER: Asked = Asked {
    storm_id: None,
    temperature_c: Some(-30.0),
    wind_m_per_s: Some(8.9),
};

fn storm(id: u128, starts_in_days: i64, hours: i64) -> StormFacts {
    let starts_at = now_plus_days(starts_in_days);
    StormFacts {
        id: Uuid::from_u128(id),
        name: format!("storm {id}"),
        starts_at,
        ends_at: starts_at + jiff::SignedDuration::from_hours(hours),
        depth_mm: 250.0,
        reclear_mm: 50.0,
        density_kg_m3: None,
        temperature_c: None,
        low_c: Some(-18.0),
    }
}

#[test]
fn hours_are_those_that_the_depots_work_asks_of_each_machine() {
    let mut facts = depot((1..=8).map(|number| fresh_unit(number, 60.0)).collect());
    facts.units[7].away = Some("the shop".to_owned());
    let said = sheet(&facts, BITTER, now()).unwrap();
    let [group] = said.machines.as_slice() else {
        panic!("one kind: {:?}", said.machines);
    };
    assert_eq!(
        (group.kind.as_str(), group.work, group.operators),
        ("two-stage thrower", Work::Clear, Some(6))
    );
    assert_eq!(group.units.len(), 7, "the one that is away is left out");
    assert!(
        group
            .units
            .iter()
            .all(|unit| unit.counts && unit.status == Status::Ready)
    );
    // 25,000 m2 in five cycles at 1,070 m2/h each (28 in, 2.4 km/h) by six: 25000 / 6420 = 3.9 h.
    assert_eq!(group.running_hours, Some(3.9));
    let noise = group.noise.as_ref().unwrap();
    // T at 91 dBA is 6.964 h.
    assert_eq!((noise.level_db_a, noise.dose_percent), (91.0, 56.0));
    assert_eq!(noise.exposure, Exposure::FromTheActionValue);
    assert_eq!(group.hand_arm, None);
    assert!(
        said.missing
            .iter()
            .any(|text| text.contains("hand_arm_m_per_s2") && text.contains("T-001"))
    );
    assert!(said.informs.contains("decides nothing"));
}

#[test]
fn a_day_has_twenty_four_hours_however_long_the_machines_run() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    facts.storms = vec![storm(7, 1, 72)];
    let sheet_of = facts.sheets.get_mut(&MODEL).unwrap();
    sheet_of.hand_arm_m_per_s2 = Some(Figure {
        value: 4.0,
        source: "the maker's declaration".to_owned(),
    });
    facts.duties = vec![duty("platforms", 50_000.0, None)];
    let said = sheet(&facts, BITTER, now()).unwrap();
    let group = &said.machines[0];
    assert_eq!(group.running_hours, Some(75.0), "until the last is owed");
    // 4 sqrt(24 / 8) = 6.93; 3.1 h to 2.5 m/s2, 12.5 h to 5.
    let hand_arm = group.hand_arm.as_ref().unwrap();
    assert_eq!(
        (
            hand_arm.a8_m_per_s2,
            hand_arm.action_value_after_h,
            hand_arm.limit_value_after_h
        ),
        (6.93, Some(3.1), Some(12.5))
    );
    assert!(
        said.cautions
            .iter()
            .any(|one| one.text.contains("around the clock"))
    );
}

#[test]
fn duties_come_in_the_order_in_which_they_are_owed() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let within = |name: &str, hours: f64| Duty {
        clear_within_h: hours,
        ..duty(name, 500.0, None)
    };
    facts.duties = vec![
        within("lots", 8.0),
        within("stairs", 2.0),
        within("crossings", 2.0),
    ];
    let said = sheet(&facts, Asked::default(), now()).unwrap();
    let names: Vec<&str> = said.duties.iter().map(|duty| duty.name.as_str()).collect();
    assert_eq!(names, ["crossings", "stairs", "lots"]);
}

#[test]
fn the_storm_is_that_of_readiness_unless_another_is_asked_for() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    assert_eq!(
        sheet(&facts, BITTER, now()).unwrap().storm.named.name,
        "design storm"
    );
    facts.storms = vec![storm(7, 1, 10), storm(8, 3, 30), storm(9, -3, 10)];
    let asked = |id: Option<u128>| Asked {
        storm_id: id.map(Uuid::from_u128),
        ..BITTER
    };
    let name = |id| Some(sheet(&facts, asked(id), now())?.storm.named.name);
    let of_readiness = evaluate(&facts, now()).depot.document.storm.name;
    assert_eq!(name(None), Some(of_readiness));
    assert_eq!(name(Some(8)).as_deref(), Some("storm 8"));
    assert_eq!(name(Some(9)), None, "it is over");
    assert_eq!(name(Some(10)), None, "there is none");
}

#[test]
fn the_temperature_is_asked_or_the_storms_and_what_is_not_known_is_said() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let windy = Asked {
        wind_m_per_s: Some(5.0),
        ..Asked::default()
    };
    let from = |facts: &DepotFacts, asked| {
        let cold = sheet(facts, asked, now()).unwrap().cold;
        cold.map(|cold| (cold.temperature_c, cold.temperature_from))
    };
    assert_eq!(from(&facts, BITTER), Some((-30.0, TemperatureFrom::Asked)));
    assert_eq!(from(&facts, windy), Some((-6.0, TemperatureFrom::Storm)));
    facts.storms = vec![storm(7, 1, 10)];
    assert_eq!(
        from(&facts, windy),
        Some((-18.0, TemperatureFrom::StormsLow))
    );
    facts.storms[0].low_c = None;
    let said = sheet(&facts, windy, now()).unwrap();
    assert!(said.cold.is_none() && said.missing[0].contains("temperature_c"));
    let still = sheet(
        &facts,
        Asked {
            temperature_c: Some(-3.0),
            ..Asked::default()
        },
        now(),
    )
    .unwrap();
    assert!(still.cold.is_none() && still.missing[0].contains("wind_m_per_s"));
}

/// Walking at -30 degC in 32 km/h: 30 minutes and five breaks; sitting, one row colder, work stops.
#[test]
fn cold_wind_sets_spells_of_work() {
    let facts = depot(vec![fresh_unit(1, 60.0)]);
    let cold = sheet(&facts, BITTER, now()).unwrap().cold.unwrap();
    assert_eq!(
        (cold.walking.work_minutes, cold.walking.breaks),
        (Some(30), Some(5))
    );
    assert_eq!(cold.sitting.advice, warm_up::Advice::Stop);
    let frostbite = cold.frostbite.unwrap();
    assert_eq!((frostbite.least_minutes, frostbite.most_minutes), (5, 10));
}

/// Each kind of machine has the cautions of its work, and no others.
#[test]
fn cautions_belong_to_what_goes_out() {
    let words = |kind: &str, work: Work| {
        let model = default_sheet(kind).unwrap();
        let mut facts = depot(vec![fresh_unit_of(&model, work, 1, 60.0)]);
        facts.sheets = [(MODEL, model)].into();
        facts.duties[0].work = work;
        facts.duties[0].dose_g_m2 = (work == Work::Spread).then_some(20.0);
        let said = sheet(&facts, BITTER, now()).unwrap();
        assert!(said.cautions.iter().all(|one| !one.source.is_empty()));
        let texts: Vec<String> = said.cautions.into_iter().map(|one| one.text).collect();
        [
            "auger",
            "outdoors only",
            "stones",
            "Salt",
            "Hearing",
            "vibration",
            "dry clothes",
        ]
        .map(|word| texts.iter().any(|text| text.contains(word)))
    };
    assert_eq!(
        words("two-stage thrower", Work::Clear),
        [true, true, false, false, true, true, true]
    );
    assert_eq!(
        words("power broom", Work::Blow),
        [false, true, true, false, true, true, true]
    );
    assert_eq!(
        words("spreader", Work::Spread),
        [false, false, false, true, false, false, true]
    );
}

/// What no duty asks for does not go out: no hours, no exposure, nothing missing.
#[test]
fn what_has_no_duty_stays_in() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    facts.duties.clear();
    let said = sheet(&facts, BITTER, now()).unwrap();
    let group = &said.machines[0];
    assert_eq!((group.running_hours, &group.noise), (None, &None));
    assert!(said.missing.is_empty(), "{:?}", said.missing);
    assert!(!said.cautions.iter().any(|one| one.text.contains("auger")));
    assert_eq!(at("2025-11-25T13:00:00Z"), now());
}
