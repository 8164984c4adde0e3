//! The demo through the store and the rules at past dates of every kind: what is promised of it must come out at any
//! time of the year, and no fact of it may be refused.

use std::collections::{BTreeMap, BTreeSet};

use jiff::{SignedDuration, Timestamp};
use rimeyard_api::demo::{self, cases};
use rimeyard_harness::fresh_database;
use rimeyard_rules::depot::renew::{DepotCosts, InSeason, Terms, renew};
use rimeyard_rules::depot::{Evaluation, evaluate};
use rimeyard_rules::due;
use rimeyard_rules::sheet::default_kinds;
use rimeyard_rules::unit::UnitDocument;
use rimeyard_rules::unit::standing::Status;
use rimeyard_store::{Database, Sizes, Tenant, facts};
use uuid::Uuid;

/// The demo at some date.
struct Demo {
    depots: Vec<Evaluation>,
    /// Of each machine by its tag.
    kinds: BTreeMap<String, String>,
    /// How each machine did in season.
    in_season: Vec<InSeason>,
}

/// Loads the demo as of a past date and computes it as of then.
async fn as_of(date: &str) -> Demo {
    let now: Timestamp = date.parse().expect("an instant");
    let home = fresh_database().await;
    let sizes = Sizes {
        app: 4,
        door: 1,
        clock: 1,
    };
    let database = Database::connect_to_fill(&home.login_url, sizes)
        .await
        .expect("it is connected to");
    let (mut agency, _) = demo::generate(now, demo::SEED);
    // Nobody can be allowed anything in the past.
    for machine in agency
        .depots
        .iter_mut()
        .flat_map(|depot| &mut depot.machines)
    {
        machine.limited_use = None;
    }
    let org_id = demo::load_agency(&database, &agency, &|_| {})
        .await
        .expect("every fact is accepted");
    let depots: Vec<Uuid> = agency
        .depots
        .iter()
        .filter_map(|depot| depot.depot.id)
        .collect();
    let house = Tenant::system(org_id);
    let mut facts = database
        .read(&house, async |tx| facts::load(tx, &depots, now).await)
        .await
        .expect("facts");
    facts.sort_by_key(|facts| depots.iter().position(|id| *id == facts.id));
    drop(database);
    home.drop().await;
    let kind_of = |model: Uuid| {
        let model = agency.models.iter().find(|one| one.id == model);
        model.expect("its model").sheet.kind.clone()
    };
    let machines = agency.depots.iter().flat_map(|depot| &depot.machines);
    let kinds = machines.map(|machine| (machine.tag.clone(), kind_of(machine.model)));
    let kinds = kinds.collect();
    let costs = DepotCosts::default();
    let in_season = facts.iter().flat_map(|facts| {
        let units = renew(facts, &costs, &Terms::default(), now).expect("what is assumed");
        units.into_iter().map(|unit| unit.in_season)
    });
    Demo {
        depots: facts.iter().map(|facts| evaluate(facts, now)).collect(),
        kinds,
        in_season: in_season.collect(),
    }
}

/// What is promised at any time of the year.
fn holds(date: &str, demo: &Demo) {
    let Demo {
        depots,
        kinds,
        in_season,
    } = demo;
    let document = |tag: &str| -> &UnitDocument {
        let all = depots
            .iter()
            .flat_map(|depot| &depot.units)
            .map(|unit| &unit.document);
        all.into_iter()
            .find(|unit| unit.tag == tag)
            .expect("a machine of that tag")
    };
    let scores: Vec<f64> = depots
        .iter()
        .map(|depot| depot.depot.document.score.expect("a score, and not none"))
        .collect();
    let mut distinct = scores.clone();
    distinct.sort_by(f64::total_cmp);
    distinct.dedup();
    assert!(distinct.len() >= 6, "{date}: {scores:?}");
    assert!(
        scores.iter().filter(|score| **score >= 80.0).count() >= 8,
        "{date}: most are high: {scores:?}"
    );

    let belt = document(cases::BELT_LOW);
    let part = belt
        .parts
        .iter()
        .find(|part| part.part == "auger_belt")
        .expect("its belt");
    assert_eq!(
        serde_json::to_value(part.advice).unwrap(),
        "renew after the season",
        "{date}: {}",
        part.text
    );
    assert!(
        part.lasts.this_season >= 0.8 && part.lasts.next_season < 0.8,
        "{date}: {:?}",
        part.lasts
    );
    let measured = part.measured.as_ref().expect("a measured part");
    assert_eq!(measured.check, "auger_belt_ride");
    assert!(
        matches!(belt.status, Status::Ready | Status::Doubtful),
        "{date}: {}",
        belt.summary
    );

    assert_eq!(
        document(cases::WRONG_SHEAR_BOLT).status,
        Status::Held,
        "{date}"
    );
    let stood = document(cases::STOOD_240_DAYS);
    assert_eq!(stood.status, Status::Unproven, "{date}: {}", stood.summary);
    let start = stood
        .because
        .iter()
        .find(|reason| reason.factor == "start")
        .expect("its start");
    // Common practice says six in ten; the depot's own starts move that a little.
    assert!(
        (0.45..=0.77).contains(&start.chance),
        "{date}: {}",
        start.text
    );
    let scraper = document(cases::WORN_SCRAPER);
    assert!(
        scraper
            .findings
            .iter()
            .any(|finding| finding.check == "scraper_edge"),
        "{date}"
    );
    // 1,075 m2/h by its sheet, and the sheet's factor for a fault that slows it.
    assert_eq!(scraper.rate, 860.0, "{date}");
    assert!(scraper.chance > 0.5, "{date}: {}", scraper.summary);
    assert_eq!(
        document(cases::BATTERY_FLAT).status,
        Status::Stopped,
        "{date}"
    );

    let adds = |number: usize, what: &str| {
        let because = &depots[number - 1].depot.document.because;
        let told = because
            .iter()
            .find_map(|reason| reason.text.split_once(what));
        told.and_then(|(_, points)| points.split(' ').next()?.parse::<f64>().ok())
            .unwrap_or(0.0)
    };
    let short = cases::ONE_OPERATOR_SHORT;
    assert_eq!(scores[short - 1], 0.0, "{date}");
    assert!(
        adds(short, "one more operator adds ") >= 80.0,
        "{date}: {:?}",
        depots[short - 1].depot.document.because
    );
    let short = cases::ONE_MACHINE_SHORT;
    assert!(scores[short - 1] < 70.0, "{date}: {scores:?}");
    assert!(
        adds(short, "one more machine adds ") >= 15.0,
        "{date}: {:?}",
        depots[short - 1].depot.document.because
    );

    let all = || {
        depots
            .iter()
            .flat_map(|depot| &depot.units)
            .map(|unit| &unit.document)
    };
    let each: BTreeSet<&str> = kinds.values().map(String::as_str).collect();
    assert_eq!(each, default_kinds().collect(), "{date}");
    for kind in each {
        let of_kind: Vec<_> = all().filter(|unit| kinds[&unit.tag] == kind).collect();
        let ready = of_kind.iter().filter(|unit| unit.status == Status::Ready);
        let share = ready.count() as f64 / of_kind.len() as f64;
        assert!(
            share >= 0.7,
            "{date}: {share} of the machines of kind {kind} are ready"
        );
    }
    // Hidden safety functions were tested lately, but for the one machine and those that nobody has looked at.
    let late = |unit: &&UnitDocument| {
        let mut safety = unit.tasks.iter().filter(|task| task.safety);
        safety.any(|task| task.state >= due::State::Overdue)
    };
    let chosen = document(cases::SAFETY_OVERDUE);
    assert!(late(&chosen), "{date}: {:?}", chosen.tasks);
    assert_eq!(
        chosen.status,
        Status::Unproven,
        "{date}: {}",
        chosen.summary
    );
    let looked_at = |unit: &&UnitDocument| {
        let because = unit.because.iter().map(|reason| reason.text.as_str());
        !because
            .chain([unit.summary.as_str()])
            .any(|text| text.contains("not inspected this season"))
    };
    let late: Vec<_> = all()
        .filter(looked_at)
        .filter(late)
        .map(|unit| unit.tag.as_str())
        .collect();
    assert_eq!(late, [cases::SAFETY_OVERDUE], "{date}");
    let put_off = document(cases::DEFERRED);
    let put_off = put_off
        .tasks
        .iter()
        .find(|task| task.task == cases::DEFERRED_TASK)
        .expect("the task");
    assert_eq!(
        put_off.state,
        due::State::Deferred,
        "{date}: {}",
        put_off.text
    );
    // What is owed beside is not everything: the most is in hand.
    let tasks: Vec<_> = all().flat_map(|unit| &unit.tasks).collect();
    let owed = tasks.iter().filter(|task| task.state >= due::State::Due);
    let share = owed.count() as f64 / tasks.len() as f64;
    assert!(
        (0.002..0.1).contains(&share),
        "{date}: {share} of the tasks are owed"
    );
    // Once the season runs the schedule is kept for the most part, and not by everybody. Of the winter before, when the full list
    // was not yet in use, less is on record.
    let sum = |of: fn(&InSeason) -> u64| in_season.iter().map(of).sum::<u64>();
    let fallen_due = sum(|machine| machine.tasks_fallen_due);
    let kept = sum(|machine| machine.tasks_done_inside) as f64 / fallen_due as f64;
    let runs = |machine: &InSeason| machine.until < machine.season.ends;
    assert!(
        !in_season.iter().any(runs)
            || fallen_due as usize > in_season.len() && (0.6..0.98).contains(&kept),
        "{date}: {kept} of {fallen_due} tasks were done in their window"
    );
    let count = |status| all().filter(|unit| unit.status == status).count();
    for status in [
        Status::Held,
        Status::Stopped,
        Status::Unproven,
        Status::NotReady,
        Status::Doubtful,
    ] {
        assert!(count(status) > 0, "{date}: none is {status:?}");
    }
    assert!(
        count(Status::Ready) > 150,
        "{date}: {} ready",
        count(Status::Ready)
    );
    assert!(
        all().filter(|unit| unit.away.is_some()).count() >= 2,
        "{date}"
    );
    // What was found wrong in the years before was put right.
    let now: Timestamp = date.parse().expect("an instant");
    for unit in all() {
        for finding in &unit.findings {
            let age = now.duration_since(finding.opened_at);
            let minor = serde_json::to_value(finding.effect).unwrap() == "note";
            assert!(
                minor || age < SignedDuration::from_hours(24 * 6),
                "{date}: {} {}",
                unit.tag,
                finding.text
            );
        }
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_late_november() {
    let date = "2025-11-26T17:00:00Z";
    holds(date, &as_of(date).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_the_middle_of_july() {
    let date = "2026-07-15T17:00:00Z";
    holds(date, &as_of(date).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn in_february() {
    let date = "2026-02-10T15:00:00Z";
    holds(date, &as_of(date).await);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_29th_of_february() {
    let date = "2024-02-29T15:00:00Z";
    holds(date, &as_of(date).await);
}
