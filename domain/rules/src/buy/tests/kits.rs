//! Season kits, and jobs that take a kit.

use super::*;
use crate::facts::TaskDoneFacts;

const KIT: Uuid = Uuid::from_u128(510);
const PLUG: Uuid = Uuid::from_u128(511);
const OIL: Uuid = Uuid::from_u128(512);

fn kit(name: &str, contents: &[(Uuid, i64)]) -> Listed {
    Listed {
        kit: contents.to_vec(),
        ..listed(KIT, name)
    }
}

/// Throwers whose preparation for the season takes a kit.
fn with_a_season_kit(count: u128) -> DepotFacts {
    let mut facts = depot((1..=count).map(|number| fresh_unit(number, 40.0)).collect());
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    let task = sheet
        .tasks
        .iter_mut()
        .find(|task| task.task == "pre_season");
    task.expect("it is on the sheet").parts = vec!["Season kit".to_owned()];
    facts
}

fn list() -> Catalogue {
    let mut list = catalogue(vec![
        kit("season kit", &[(PLUG, 2), (OIL, 600)]),
        listed(PLUG, "plug"),
        listed(OIL, "oil"),
    ]);
    // As Postgres found it, in whatever letters.
    list.words.insert("Season kit".to_owned(), KIT);
    list
}

/// One kit for each machine that is still to be prepared, as what is in it: certain, whatever the winter.
#[test]
fn season_kits_are_certain_demand() {
    let mut facts = with_a_season_kit(7);
    for unit in &mut facts.units {
        unit.tasks_done.retain(|done| done.task != "pre_season");
    }
    let buy = super::buy(std::slice::from_ref(&facts), &[], &list());
    let level = |id: Uuid| line_of(&buy, id).pooled.level.clone();
    assert_eq!(
        (level(PLUG).stock, level(PLUG).certain, level(PLUG).mean),
        (14, 14, 14.0)
    );
    assert_eq!(level(OIL).order, 4200);
    assert!(
        buy.lines.iter().all(|line| line.pooled.part_id != KIT),
        "kept as its contents"
    );
    assert!(line_of(&buy, PLUG).pooled.because.contains("14 in kits"));

    // Done on five of them: two kits are left to come.
    for unit in &mut facts.units[..5] {
        unit.tasks_done.push(TaskDoneFacts {
            task: "pre_season".to_owned(),
            at: "2025-11-18T16:00:00Z".parse().unwrap(),
            hours: None,
        });
    }
    let buy = super::buy(std::slice::from_ref(&facts), &[], &list());
    assert_eq!(line_of(&buy, PLUG).pooled.level.stock, 4);
}

/// A job that takes a kit takes what is in it: as many kits as are enough, of each content as many as they hold, and with
/// the certainty that the part is due.
#[test]
fn a_job_may_take_a_kit() {
    let mut facts = depot_with_belts(&[-1.9; 20]);
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    let belt = sheet
        .parts
        .iter_mut()
        .find(|part| part.part == "auger_belt")
        .unwrap();
    let job = belt.job.clone().unwrap();
    let alone = buy(std::slice::from_ref(&facts), &[], &belts_and_fasteners());
    let alone = line_of(&alone, BELT).pooled.level.clone();
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    let belt = sheet
        .parts
        .iter_mut()
        .find(|part| part.part == "auger_belt")
        .unwrap();
    belt.job = Some(Job {
        parts: vec!["belt set".to_owned()],
        ..job
    });
    let list = catalogue(vec![
        kit("belt set", &[(BELT, 1), (PLUG, 3)]),
        listed(BELT, "auger belt"),
        listed(PLUG, "key"),
    ]);
    let buy = super::buy(std::slice::from_ref(&facts), &[], &list);
    let level = |id: Uuid| &line_of(&buy, id).pooled;
    assert_eq!(level(BELT).level.stock, alone.stock);
    assert_eq!(level(PLUG).level.stock, 3 * alone.stock);
    assert!((level(PLUG).level.mean - 3.0 * alone.mean).abs() < 0.03);
    assert!(level(PLUG).stops);

    // An open order wants the contents, and stands for that machine's set.
    let wanted = |part_id: Uuid, wanted: i64| WantedPart {
        part_id,
        title: "a content".to_owned(),
        wanted,
        by_unit: vec![(facts.units[3].id, wanted)],
        on_hand: 0,
    };
    facts.wanted = vec![wanted(BELT, 1), wanted(PLUG, 3)];
    let demand = demand(&facts, &list);
    assert_eq!(demand.parts[&KIT].fitted, 19);
    assert_eq!(
        (demand.parts[&BELT].orders, demand.parts[&PLUG].orders),
        (1, 3)
    );
}
