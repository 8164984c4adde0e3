//! Repair or renew at a depot: which winters count, what other machines tell, and how a machine did in season.

use super::builder::{at, depot, fresh_unit, now};
use super::*;
use crate::availability::Out;
use crate::depot::renew::{DepotCosts, ModelPrice, Terms, UnitCosts, UnitRenewal, Work, renew};
use crate::due::Trigger;
use crate::facts::TaskDoneFacts;
use crate::season::Winter;
use jiff::civil::{Date, date};

/// Costs of a depot whose first order was opened in August 2022, its model at 1,000.00.
fn costs() -> DepotCosts {
    let price = ModelPrice {
        name: "a thrower".to_owned(),
        price: Some((100_000, "USD".to_owned())),
    };
    DepotCosts {
        models: [(MODEL, price)].into(),
        recorded_since: Some(at("2022-08-10T12:00:00Z")),
        units: [].into(),
    }
}

/// Two machines of October 2020, the second known since the summer of 2024 only.
fn two() -> DepotFacts {
    let mut units = vec![fresh_unit(1, 100.0), fresh_unit(2, 100.0)];
    for unit in &mut units {
        unit.acquired_on = Some(date(2020, 10, 1));
        for part in &mut unit.parts {
            part.fitted_at = None;
        }
    }
    units[0].kept_since = Some(at("2021-09-01T12:00:00Z"));
    units[1].kept_since = Some(at("2024-07-20T12:00:00Z"));
    depot(units)
}

fn answered(facts: &DepotFacts, costs: &DepotCosts) -> Vec<UnitRenewal> {
    renew(facts, costs, &Terms::default(), now()).unwrap()
}

fn span(from: Date, until: Date) -> Out {
    Out {
        from,
        until: Some(until),
    }
}

#[test]
fn winters_count_from_when_costs_were_noted_and_others_are_those_beside_it() {
    let facts = two();
    let mut costs = costs();
    let took = Work {
        parts_minor: 5000.0,
        unpriced: 1,
        minutes: 90.0,
    };
    let own = UnitCosts {
        // The winter that runs is left out, and so is what came before anything was noted.
        work: [2019, 2021, 2023, 2025]
            .map(|winter| (Winter(winter), took))
            .into(),
        waits_for: Work {
            parts_minor: 2500.0,
            unpriced: 0,
            minutes: 30.0,
        },
        // Three days in the season of 2022, and all of the summer after it.
        out: vec![
            span(date(2022, 12, 1), date(2022, 12, 3)),
            span(date(2023, 4, 11), date(2023, 11, 14)),
        ],
        run_hours: [(Winter(2023), 21.5)].into(),
    };
    costs.units.insert(facts.units[0].id, own);
    let units = answered(&facts, &costs);
    let [first, second] = units.as_slice() else {
        panic!("two machines");
    };
    assert_eq!(first.inputs.age, Some(5.0));
    assert_eq!(first.inputs.price, Some(1000.0));
    // 25.00 and half an hour at 60.
    assert_eq!(first.inputs.repair_now, 55.0);
    let winters: Vec<(f64, f64, f64, f64)> = first
        .inputs
        .winters
        .iter()
        .map(|winter| {
            (
                winter.winter,
                winter.parts,
                winter.labour_minutes,
                winter.out_days,
            )
        })
        .collect();
    // 2022 to 2024 were its third to fifth.
    assert_eq!(
        winters,
        [
            (3.0, 0.0, 0.0, 3.0),
            (4.0, 50.0, 90.0, 0.0),
            (5.0, 0.0, 0.0, 0.0)
        ]
    );
    assert_eq!(first.inputs.winters[1].run_hours, Some(21.5));
    // 50 and 90 minutes at 60 an hour, over 21.5 hours.
    assert_eq!(first.renew.cost_per_running_hour, Some(140.0 / 21.5));
    assert!(
        first
            .counted
            .iter()
            .any(|said| said.contains("Left out: 1 part "))
    );

    // The second is known for one winter, and is held against the first one's three: a day out costs 0.04 of 1,000.
    assert_eq!(second.inputs.winters.len(), 1);
    let fleet: Vec<(f64, f64, f64)> = second
        .inputs
        .fleet
        .iter()
        .map(|of_age| (of_age.winter, of_age.count, of_age.mean))
        .collect();
    assert_eq!(
        fleet,
        [(3.0, 1.0, 120.0), (4.0, 1.0, 140.0), (5.0, 1.0, 0.0)]
    );
    // And the first against the second's one, not against itself.
    assert_eq!(first.inputs.fleet.len(), 1);
    assert_eq!(
        (first.inputs.fleet[0].winter, first.inputs.fleet[0].mean),
        (5.0, 0.0)
    );

    // Nobody notes costs at a depot without orders.
    costs.recorded_since = None;
    assert!(answered(&facts, &costs)[0].inputs.winters.is_empty());
}

#[test]
fn what_is_not_known_is_lacking() {
    let mut facts = two();
    facts.units[0].acquired_on = None;
    let mut costs = costs();
    costs.models.clear();
    let units = answered(&facts, &costs);
    assert_eq!(
        units[0].renew.lacking,
        ["the price of a new one", "its age"]
    );
    assert_eq!(units[1].renew.lacking, ["the price of a new one"]);
    assert!(
        units[0]
            .counted
            .iter()
            .any(|said| said.contains("acquired_on"))
    );
    let costs = super::renew::costs();
    assert!(answered(&facts, &costs)[1].renew.lacking.is_empty());
}

/// Its only task is owed every month, to a tenth of it either side. Since 1 July: on its day (20 July), five days after it (25
/// August), long before it (10 September), and not since.
#[test]
fn a_schedule_is_kept_by_what_was_done_inside_its_window() {
    let mut facts = two();
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    sheet.tasks.truncate(1);
    sheet.tasks[0].task = "grease".to_owned();
    sheet.tasks[0].triggers = vec![Trigger::Months { every: 1 }];
    sheet.tasks[0].tolerance = 0.1;
    sheet.tasks[0].checks.clear();
    sheet.tasks[0].renews = None;
    sheet.tasks[0].only_for = None;
    let done = |day: &str| TaskDoneFacts {
        task: "grease".to_owned(),
        at: at(&format!("{day}T16:00:00Z")),
        hours: None,
    };
    facts.units[0].tasks_done = ["2025-06-20", "2025-07-20", "2025-08-25", "2025-09-10"]
        .map(done)
        .into();
    facts.units[1].tasks_done = vec![done("2025-11-20")];
    let mut costs = costs();
    // Out on two of the season's eleven days so far, and on others that do not count.
    let own = UnitCosts {
        out: vec![
            span(date(2025, 11, 1), date(2025, 11, 15)),
            span(date(2025, 11, 18), date(2025, 11, 18)),
            span(date(2025, 11, 18), date(2025, 11, 18)),
        ],
        ..UnitCosts::default()
    };
    costs.units.insert(facts.units[0].id, own);
    let units = answered(&facts, &costs);
    let kept = units[0].in_season;
    assert_eq!(
        (kept.season.starts, kept.until),
        (date(2025, 11, 15), date(2025, 11, 25))
    );
    assert_eq!((kept.tasks_done_inside, kept.tasks_fallen_due), (1, 3));
    assert_eq!(kept.compliance, Some(1.0 / 3.0));
    assert_eq!((kept.days, kept.days_out), (11, 2));
    assert_eq!(kept.availability, Some(9.0 / 11.0));
    assert_eq!((kept.starts_proven, kept.inspections), (1, 1));
    // The other was late once and owes nothing now.
    let kept = units[1].in_season;
    assert_eq!((kept.tasks_done_inside, kept.tasks_fallen_due), (0, 1));
    assert_eq!(kept.availability, Some(1.0));

    // In July the season asked about is the last one, whole.
    let july = renew(
        &facts,
        &costs,
        &Terms::default(),
        at("2026-07-10T12:00:00Z"),
    )
    .unwrap();
    let kept = july[0].in_season;
    assert_eq!(
        (kept.season.starts, kept.until),
        (date(2025, 11, 15), date(2026, 4, 10))
    );
    assert_eq!((kept.tasks_done_inside, kept.tasks_fallen_due), (1, 3));
    assert_eq!((kept.days, kept.days_out), (147, 2));
}

/// What a season or a storm asks for is kept by who does it early, from its date on; a season's last tasks are owed after it.
#[test]
fn what_is_done_early_for_a_season_or_a_storm_is_kept() {
    let mut facts = two();
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    sheet.tasks.truncate(1);
    let task = &mut sheet.tasks[0];
    task.task = "grease".to_owned();
    task.tolerance = 0.1;
    task.safety = false;
    task.storage = true;
    task.checks.clear();
    task.renews = None;
    task.only_for = None;
    let done = |day: &str| TaskDoneFacts {
        task: "grease".to_owned(),
        at: at(&format!("{day}T16:00:00Z")),
        hours: None,
    };
    let asked = |facts: &DepotFacts, day: &str| {
        let as_of = at(&format!("{day}T12:00:00Z"));
        let units = renew(facts, &costs(), &Terms::default(), as_of).unwrap();
        let kept = [units[0].in_season, units[1].in_season];
        kept.map(|kept| (kept.tasks_done_inside, kept.tasks_fallen_due))
    };
    let triggered = |facts: &mut DepotFacts, trigger| {
        facts.sheets.get_mut(&MODEL).unwrap().tasks[0].triggers = vec![trigger];
    };

    // 42 days before 15 November are 4 October; the window is four days. Twice is once.
    triggered(&mut facts, Trigger::BeforeSeason { lead_days: 42 });
    facts.units[0].tasks_done = vec![done("2025-09-10"), done("2025-09-12")];
    facts.units[1].tasks_done = vec![done("2025-10-20")];
    assert_eq!(asked(&facts, "2025-11-25"), [(1, 1), (0, 1)]);

    // Two weeks after 10 April, long after the season's last day.
    triggered(&mut facts, Trigger::AfterSeason { within_days: 14 });
    facts.units[0].tasks_done = vec![done("2025-04-20"), done("2026-04-12")];
    facts.units[1].tasks_done = vec![done("2025-04-20")];
    assert_eq!(asked(&facts, "2026-04-15"), [(0, 0), (0, 0)]);
    assert_eq!(asked(&facts, "2026-07-10"), [(1, 1), (0, 1)]);

    // The day after a storm: on its last day is soon enough, three days later is not.
    let within_days = 1;
    let at_least_h = 0.0;
    triggered(
        &mut facts,
        Trigger::AfterStorm {
            at_least_h,
            within_days,
        },
    );
    facts.storms = vec![storm(3, "2025-11-19T12:00:00Z", "2025-11-20T12:00:00Z")];
    facts.units[0].tasks_done = vec![done("2025-11-20")];
    facts.units[1].tasks_done = vec![done("2025-11-23")];
    assert_eq!(asked(&facts, "2025-11-25"), [(1, 1), (0, 1)]);
}

/// What stood in storage over the summer was not owed: got out and done in September, it had not fallen due.
#[test]
fn in_storage_nothing_falls_due_but_what_keeps_it() {
    let mut facts = two();
    let unit = &mut facts.units[0];
    let storage = crate::facts::InspectionFacts {
        id: Uuid::from_u128(6),
        kind: crate::facts::InspectionKind::Storage,
        at: at("2025-05-10T16:00:00Z"),
        by: "a technician".to_owned(),
    };
    unit.inspections.push(storage);
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    sheet.tasks.truncate(1);
    sheet.tasks[0].task = "grease".to_owned();
    sheet.tasks[0].triggers = vec![Trigger::Months { every: 2 }];
    sheet.tasks[0].storage = false;
    sheet.tasks[0].checks.clear();
    sheet.tasks[0].renews = None;
    let done = |day: &str| TaskDoneFacts {
        task: "grease".to_owned(),
        at: at(&format!("{day}T16:00:00Z")),
        hours: None,
    };
    facts.units[0].tasks_done = vec![done("2025-05-09"), done("2025-11-20")];
    facts.units[1].tasks_done = facts.units[0].tasks_done.clone();
    let units = answered(&facts, &costs());
    // The first was inspected on 18 November, out of storage: two days late for what fell due in July all the same.
    let found = |unit: usize| units[unit].in_season.tasks_fallen_due;
    assert_eq!((found(0), found(1)), (1, 1));
    facts.units[0].tasks_done[1] = done("2025-11-17");
    let kept = answered(&facts, &costs())[0].in_season;
    assert_eq!((kept.tasks_fallen_due, kept.compliance), (0, None));
}
