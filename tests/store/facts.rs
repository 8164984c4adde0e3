//! What the loader brings of a depot, and what it leaves out.

use jiff::Timestamp;
use rimeyard_harness::machines::{Machines, days_ago, sound_inspection};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_rules::facts::{DepotFacts, UnitFacts};
use rimeyard_rules::season::Winter;
use rimeyard_store::{Depots, Tenant, facts};
use serde_json::{Value, json};
use uuid::Uuid;

async fn load(server: &TestServer, depots: &[Uuid]) -> Vec<DepotFacts> {
    let house = Tenant::system(server.world.ours.org_id);
    let read = server.database.read(&house, async |tx| {
        facts::load(tx, depots, Timestamp::now()).await
    });
    read.await.expect("loaded")
}

async fn unit(server: &TestServer, id: &str) -> UnitFacts {
    let depots = load(server, &[server.world.ours.home.id]).await;
    let mut units = depots.into_iter().flat_map(|depot| depot.units);
    units
        .find(|unit| unit.id.to_string() == id)
        .expect("the unit is loaded")
}

/// Home with one machine, and its administrator.
async fn one_machine() -> (TestServer, Actor, String) {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let mut machines = Machines::make(&administrator, server.world.ours.home.id, 1).await;
    (server, administrator, machines.units.remove(0))
}

/// An inspection of so many days ago with these readings.
fn inspection(unit: &str, days: i64, run_hours: Option<f64>, readings: Value) -> Value {
    json!({
        "unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "run_hours": run_hours, "readings": readings,
    })
}

fn stop_switch(works: bool) -> Value {
    json!([{"check": "stop_switch", "works": works}])
}

#[tokio::test]
async fn a_correction_stands_for_what_it_corrects() {
    let (server, administrator, id) = one_machine().await;
    let first = inspection(&id, 20, Some(90.0), stop_switch(false));
    let first = administrator
        .post("/v1/inspections", &first)
        .await
        .expect(201)
        .id();
    let failed = unit(&server, &id).await;
    assert_eq!((failed.inspections.len(), failed.latest.len()), (1, 1));
    assert_eq!(failed.latest[0].works, Some(false));
    assert_eq!(
        (failed.findings.len(), failed.holds.len()),
        (1, 1),
        "a stop switch is a matter of safety"
    );

    let mut second = inspection(&id, 20, Some(95.0), stop_switch(true));
    second["corrects"] = json!(first);
    let second = administrator
        .post("/v1/inspections", &second)
        .await
        .expect(201)
        .id();
    let corrected = unit(&server, &id).await;
    let ids: Vec<String> = corrected
        .inspections
        .iter()
        .map(|one| one.id.to_string())
        .collect();
    assert_eq!(ids, [second]);
    assert_eq!(corrected.latest.len(), 1);
    assert_eq!(corrected.latest[0].works, Some(true));
    assert_eq!(
        corrected
            .meter
            .iter()
            .map(|reading| reading.hours)
            .collect::<Vec<_>>(),
        [95.0]
    );
    assert_eq!((corrected.findings.len(), corrected.holds.len()), (0, 0));

    let reading =
        json!({"unit_id": id, "read_at": days_ago(5), "run_hours": 990.0, "started": false});
    let wrong = administrator
        .post("/v1/meter-readings", &reading)
        .await
        .expect(201)
        .id();
    let reading = json!({
        "unit_id": id, "read_at": days_ago(5), "run_hours": 99.0, "started": true, "corrects": wrong,
    });
    administrator
        .post("/v1/meter-readings", &reading)
        .await
        .expect(201);
    let read = unit(&server, &id).await;
    assert_eq!(
        read.meter
            .iter()
            .map(|reading| reading.hours)
            .collect::<Vec<_>>(),
        [95.0, 99.0]
    );
    assert_eq!(
        read.starts
            .iter()
            .map(|start| start.started)
            .collect::<Vec<_>>(),
        [true]
    );
}

#[tokio::test]
async fn a_path_has_the_measurements_made_on_that_part() {
    let (server, administrator, id) = one_machine().await;
    let readings = async |days, hours, value: f64| {
        let readings = json!([{"check": "scraper_edge", "value": value, "unit": "mm"}]);
        administrator
            .post("/v1/inspections", &inspection(&id, days, hours, readings))
            .await
            .expect(201);
    };
    readings(300, Some(40.0), 22.0).await;
    readings(30, None, 18.0).await;
    let before = unit(&server, &id).await;
    let path = before
        .parts
        .iter()
        .find(|path| path.part == "scraper_bar")
        .expect("the path");
    assert!(path.fitted_at.is_some() && path.removed_at.is_none());
    let measured: Vec<_> = path
        .readings
        .iter()
        .map(|reading| (reading.hours, reading.value))
        .collect();
    assert_eq!(measured, [(Some(40.0), 22.0), (None, 18.0)]);
    let others = before
        .parts
        .iter()
        .filter(|path| path.part != "scraper_bar");
    assert!(others.flat_map(|path| &path.readings).next().is_none());
    let latest = before
        .latest
        .iter()
        .find(|latest| latest.check == "scraper_edge")
        .expect("read");
    assert_eq!(latest.value, Some(18.0));

    let renewed = json!({"part": "scraper_bar", "how": "renewed", "fitted_at": days_ago(10)});
    administrator
        .post(&format!("/v1/units/{id}/parts"), &renewed)
        .await
        .expect(201);
    readings(2, Some(60.0), 25.0).await;
    let after = unit(&server, &id).await;
    let paths: Vec<_> = after
        .parts
        .iter()
        .filter(|path| path.part == "scraper_bar")
        .collect();
    assert_eq!(paths.len(), 2);
    let values = |index: usize| {
        paths[index]
            .readings
            .iter()
            .map(|reading| reading.value)
            .collect::<Vec<_>>()
    };
    assert_eq!((values(0), values(1)), (vec![22.0, 18.0], vec![25.0]));
    assert!(paths[0].removed_at.is_some() && paths[1].removed_at.is_none());
}

#[tokio::test]
async fn history_reaches_back_to_july_of_last_winter_and_one_further() {
    let (server, administrator, id) = one_machine().await;
    // Months apart; the machine came in October 2023.
    for days in [10, 200, 500, 700, 900] {
        let inspection = inspection(
            &id,
            days,
            Some(1000.0 - days as f64),
            json!([{"check": "engine_start", "works": true}]),
        );
        administrator
            .post("/v1/inspections", &inspection)
            .await
            .expect(201);
    }
    let loaded = unit(&server, &id).await;
    let zone = jiff::tz::TimeZone::get("America/Denver").expect("Home's zone");
    let today = Timestamp::now().to_zoned(zone.clone()).date();
    let since = Winter::of(today)
        .before()
        .starts()
        .to_zoned(zone)
        .expect("a day")
        .timestamp();
    let instants = |all: Vec<Timestamp>| {
        let (within, before): (Vec<_>, Vec<_>) = all.into_iter().partition(|at| *at >= since);
        (within.len(), before.len())
    };
    let made = [10, 200, 500, 700, 900]
        .map(|days| days_ago(days).parse::<Timestamp>().expect("an instant"));
    let within = made.iter().filter(|at| **at >= since).count();
    assert!(
        (2..5).contains(&within),
        "some are older, whatever today is"
    );
    assert_eq!(
        instants(loaded.inspections.iter().map(|one| one.at).collect()),
        (within, 1)
    );
    assert_eq!(
        instants(loaded.starts.iter().map(|one| one.at).collect()),
        (within, 1)
    );
    // Hours: two years, and the newest before.
    assert_eq!(loaded.meter.len(), 5);
    assert_eq!(loaded.latest.len(), 1);
    // `made` is reckoned from a later now than what was sent.
    let apart = loaded.latest[0].at.duration_until(made[0]);
    assert!(apart.abs() < jiff::SignedDuration::from_mins(5), "{apart}");
}

#[tokio::test]
async fn a_clock_that_is_ahead_has_its_effect_at_receipt_and_no_hours() {
    let (server, administrator, id) = one_machine().await;
    let sound = inspection(&id, 3, Some(100.0), stop_switch(true));
    administrator
        .post("/v1/inspections", &sound)
        .await
        .expect(201);
    let ahead = inspection(&id, -400, Some(120.0), stop_switch(false));
    administrator
        .post("/v1/inspections", &ahead)
        .await
        .expect(201);
    let loaded = unit(&server, &id).await;
    assert!(
        loaded.latest[0].at <= Timestamp::now(),
        "received now, so from now on"
    );
    assert_eq!(
        loaded.latest[0].works,
        Some(false),
        "and newer than the one before"
    );
    assert!(
        loaded
            .inspections
            .iter()
            .all(|one| one.at <= Timestamp::now())
    );
    assert_eq!(
        loaded
            .meter
            .iter()
            .map(|reading| reading.hours)
            .collect::<Vec<_>>(),
        [100.0]
    );
    // Hours that run backwards are seen, and it is for the timeline not to believe them.
    let backwards =
        json!({"unit_id": id, "read_at": days_ago(1), "run_hours": 12.0, "started": true});
    administrator
        .post("/v1/meter-readings", &backwards)
        .await
        .expect(201);
    let loaded = unit(&server, &id).await;
    assert_eq!(
        loaded
            .meter
            .iter()
            .map(|reading| reading.hours)
            .collect::<Vec<_>>(),
        [100.0, 12.0]
    );
    assert_eq!(loaded.starts.len(), 1);
}

#[tokio::test]
async fn what_is_over_is_left_out() {
    let (server, administrator, id) = one_machine().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let tag = async |reason: &str| {
        let path = format!("/v1/units/{id}/holds");
        administrator
            .post(&path, &json!({"reason": reason}))
            .await
            .expect(201)
            .id()
    };
    let lifted = tag("lifted").await;
    tag("hangs").await;
    let mut repair = sound_inspection(&id, 0);
    repair["kind"] = json!("after_repair");
    repair["performed_at"] = json!(Timestamp::now());
    let repair = administrator
        .post("/v1/inspections", &repair)
        .await
        .expect(201)
        .id();
    let lift = format!("/v1/holds/{lifted}/lift");
    administrator
        .post(&lift, &json!({"inspection_id": repair}))
        .await
        .expect(200);

    let storm = async |name: &str, starts: i64, depots: &[Uuid]| {
        let storm = json!({
            "name": name, "starts_at": days_ago(-starts), "ends_at": days_ago(-starts - 1), "depth_mm": 200.0,
            "reclear_mm": 50.0, "depots": depots,
        });
        administrator.post("/v1/storms", &storm).await.expect(201)
    };
    storm("over", -5, &[home]).await;
    storm("long over", -800, &[home]).await;
    storm("ahead", 3, &[home]).await;
    storm("elsewhere", 2, &[far]).await;
    let called_off = storm("called off", 1, &[home]).await;
    let path = format!("/v1/storms/{}", called_off.id());
    administrator
        .patch(&path, &called_off.etag(), &json!({"cancelled": true}))
        .await
        .expect(200);

    let retired = Machines::make(&administrator, home, 1)
        .await
        .units
        .remove(0);
    let path = format!("/v1/units/{retired}");
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator
        .patch(&path, &etag, &json!({"retired_at": Timestamp::now()}))
        .await
        .expect(200);

    let both = load(&server, &[far, home]).await;
    assert_eq!(both.len(), 2, "several depots at once");
    let of = |id: Uuid| both.iter().find(|depot| depot.id == id).expect("loaded");
    let names = |depot: &DepotFacts| {
        depot
            .storms
            .iter()
            .map(|storm| storm.name.clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        (names(of(home)), names(of(far))),
        (
            vec!["over".to_owned(), "ahead".to_owned()],
            vec!["elsewhere".to_owned()]
        ),
        "tasks are due after a storm that is over"
    );
    assert_eq!(of(home).units.len(), 1);
    assert_eq!(of(far).units.len(), 0);
    let reasons: Vec<_> = of(home).units[0]
        .holds
        .iter()
        .map(|hold| hold.reason.as_str())
        .collect();
    assert_eq!(reasons, ["hangs"]);
    assert_eq!(of(home).units[0].holds[0].placed_by, "The administrator");
    let alone = load(&server, &[home]).await;
    assert_eq!(
        alone[0].units,
        of(home).units,
        "the same alone as with others"
    );
}

#[tokio::test]
async fn only_what_is_granted_is_loaded() {
    let server = TestServer::start().await;
    let (ours, theirs) = (server.world.ours, server.world.theirs);
    let granted = Tenant {
        depots: Depots::Some([ours.home.id].into()),
        ..Tenant::system(ours.org_id)
    };
    let asked = [ours.home.id, ours.far.id, theirs.home.id];
    let read = server.database.read(&granted, async |tx| {
        facts::load(tx, &asked, Timestamp::now()).await
    });
    let loaded: Vec<Uuid> = read
        .await
        .expect("loaded")
        .iter()
        .map(|depot| depot.id)
        .collect();
    assert_eq!(loaded, [ours.home.id]);
    let loaded = load(&server, &[theirs.home.id]).await;
    assert!(loaded.is_empty(), "another organisation's, whoever asks");
}

/// What runs backwards is for the timeline to believe or not; a replaced meter brings all hours before it along.
#[tokio::test]
async fn hours_that_contradict_others_and_replaced_meters_are_loaded() {
    let (server, administrator, id) = one_machine().await;
    let read = async |days: i64, change: Value| {
        let mut body = json!({"unit_id": id, "read_at": days_ago(days)});
        let fields = body.as_object_mut().expect("an object");
        fields.extend(change.as_object().expect("an object").clone());
        administrator
            .post("/v1/meter-readings", &body)
            .await
            .expect(201);
    };
    let hours = async || {
        let unit = unit(&server, &id).await;
        let hours = unit.meter.iter();
        hours
            .map(|reading| (reading.hours, reading.meter_replaced))
            .collect::<Vec<_>>()
    };
    read(1000, json!({"run_hours": 10})).await;
    read(900, json!({"run_hours": 50})).await;
    // More than there was time for.
    read(850, json!({"run_hours": 9999})).await;
    read(20, json!({"run_hours": 400})).await;
    read(10, json!({"run_hours": 120})).await;
    // Two years back, and the newest before that nobody doubted: what came before it is not there to contradict another.
    assert_eq!(
        hours().await,
        [(50.0, false), (400.0, false), (120.0, false)]
    );
    read(5, json!({"run_hours": 0, "meter_replaced": true})).await;
    assert_eq!(
        hours().await,
        [
            (10.0, false),
            (50.0, false),
            (9999.0, false),
            (400.0, false),
            (120.0, false),
            (0.0, true)
        ]
    );
}
