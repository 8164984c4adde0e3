//! /v1/inspections
//!
//! Limits are those of the default sheet of the two-stage thrower, where the source stands beside each. Those leaned on
//! here: skid shoe unserviceable at 1.5 mm, marginal at 3 mm (no published limit; district default); an auger that
//! creeps once its control is released is out of service (operator manuals; ISO 8437-2, from memory).

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_store::inspection::{self as inspections, NewInspection, Recorded};
use rimeyard_store::{Database, Depots, Error, Role, Tenant, feed};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, days_ago, fleet, owner};

/// An inspection of a unit so many days ago.
fn inspection(unit: &str, days: i64, readings: Value) -> Value {
    json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "readings": readings})
}

fn with(mut body: Value, change: Value) -> Value {
    body.as_object_mut()
        .unwrap()
        .extend(change.as_object().unwrap().clone());
    body
}

fn skid(value: f64) -> Value {
    json!([{"check": "skid_thickness", "value": value, "unit": "mm"}])
}

fn auger_stops(works: bool) -> Value {
    json!([{"check": "auger_stops", "works": works}])
}

async fn post(actor: &Actor, body: Value) -> Value {
    actor
        .post("/v1/inspections", &body)
        .await
        .expect(201)
        .json()
}

/// What a list has, by its one filter.
async fn items(actor: &Actor, path: &str) -> Vec<Value> {
    actor.get(path).await.expect(200).json()["items"]
        .as_array()
        .unwrap()
        .clone()
}

async fn open_findings(actor: &Actor, unit: &str) -> Vec<Value> {
    items(actor, &format!("/v1/findings?unit_id={unit}&open=true")).await
}

async fn hanging(actor: &Actor, unit: &str) -> Vec<Value> {
    items(actor, &format!("/v1/holds?unit_id={unit}&open=true")).await
}

#[tokio::test]
async fn each_reading_has_its_verdict_and_what_that_stands_on() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let readings = json!([
        {"check": "skid_thickness", "value": 0.05, "unit": "in", "note": "left one"},
        {"check": "auger_belt_look", "grade": "glazed or lightly cracked"},
        {"check": "clean_out_tool", "works": true},
        {"check": "fuel_leak", "level": "dry, line supple"},
        {"check": "tyre_left", "value": 16, "unit": "psi", "temperature": 68, "temperature_unit": "degF"},
        {"check": "scraper_edge", "value": 25, "unit": "mm", "repeats": 3},
    ]);
    let body = with(
        inspection(&unit, 1, readings),
        json!({"run_hours": 120.5, "note": "before the storm"}),
    );
    let answer = technician.post("/v1/inspections", &body).await.expect(201);
    let recorded = answer.json();
    assert_eq!(
        answer.header("location"),
        format!("/v1/inspections/{}", answer.id())
    );
    assert_eq!(recorded["flags"], json!([]));
    assert_eq!(
        (&recorded["sheet_version"], &recorded["checklist_version"]),
        (&json!(1), &json!(1))
    );
    let reading = |check: &str| {
        let readings = recorded["readings"].as_array().unwrap();
        readings
            .iter()
            .find(|reading| reading["check"] == check)
            .unwrap_or_else(|| panic!("{check}"))
            .clone()
    };
    let skid = reading("skid_thickness");
    assert_eq!(skid["verdict"], "unserviceable");
    assert_eq!(
        (&skid["value"], &skid["unit"], &skid["note"]),
        (&json!(0.05), &json!("in"), &json!("left one"))
    );
    // 0.05 in is 1.27 mm by definition (NIST SP 811, appendix B.8).
    assert!((skid["value_si"].as_f64().unwrap() - 1.27).abs() < 1e-12);
    assert_eq!(skid["limits"]["low"]["unserviceable_at"]["value"], 1.5);
    assert_eq!(reading("auger_belt_look")["verdict"], "marginal");
    assert_eq!(reading("clean_out_tool")["verdict"], "serviceable");
    assert_eq!(reading("fuel_leak")["level"], "dry, line supple");
    assert_eq!(reading("tyre_left")["temperature_c"], 20.0);
    assert_eq!(reading("scraper_edge")["repeats"], 3);
    // A measure of a part is kept on the part as it is fitted.
    assert!(skid["fitted_part_id"].is_string(), "{skid}");

    // Each verdict can be reproduced from its inputs alone.
    for reading in recorded["readings"].as_array().unwrap() {
        let again = technician
            .post("/v1/calculations/verdict", &reading["inputs"])
            .await
            .expect(200)
            .json();
        for figure in ["verdict", "flags", "text"] {
            assert_eq!(again[figure], reading[figure], "{reading}");
        }
    }

    let findings = recorded["findings"].as_array().unwrap();
    assert_eq!(findings.len(), 1);
    assert_eq!(
        (&findings[0]["check"], &findings[0]["effect"]),
        (&json!("skid_thickness"), &json!("degrade"))
    );
    assert_eq!(findings[0]["closed_at"], Value::Null);
    assert_eq!(recorded["holds"], json!([]));
    let orders = recorded["proposed_work_orders"].as_array().unwrap();
    assert_eq!(orders.len(), 1);
    assert_eq!(
        (&orders[0]["finding_id"], &orders[0]["check"]),
        (&findings[0]["id"], &json!("skid_thickness"))
    );
    assert!(orders[0]["job"].as_str().is_some_and(|job| !job.is_empty()));
    assert!(
        orders[0]["minutes"]
            .as_f64()
            .is_some_and(|minutes| minutes > 0.0)
    );
    assert!(!orders[0]["parts"].as_array().unwrap().is_empty());

    // What is found later is the same, without what followed.
    let found = technician
        .get(&format!("/v1/inspections/{}", answer.id()))
        .await
        .expect(200);
    let mut expected = recorded.clone();
    for followed in ["findings", "holds", "proposed_work_orders"] {
        expected.as_object_mut().unwrap().remove(followed);
    }
    let by_check = |mut inspection: Value| {
        let readings = inspection["readings"].as_array_mut().unwrap();
        readings.sort_by_key(|reading| reading["check"].as_str().unwrap().to_owned());
        inspection
    };
    assert_eq!(by_check(found.json()), by_check(expected));
    assert_eq!(found.etag(), "\"1\"");
    let finding = technician
        .get(&format!(
            "/v1/findings/{}",
            findings[0]["id"].as_str().unwrap()
        ))
        .await
        .expect(200);
    assert_eq!(&finding.json(), &findings[0]);
}

#[tokio::test]
async fn what_is_found_is_published_marked_and_audited() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let recorded = post(&technician, inspection(&unit, 1, auger_stops(false))).await;
    let owner = owner(&server).await;
    let (org_id, home) = (server.world.ours.org_id, server.world.ours.home.id);
    let document = async |kind: &str, id: &Value| -> Value {
        let id: Uuid = id.as_str().unwrap().parse().unwrap();
        let sql = "select doc, rev from feed_entry where org_id = $1 and scope_id = $2 and kind = $3 and object_id = $4";
        let row = owner
            .query_one(sql, &[&org_id, &home, &kind, &id])
            .await
            .unwrap();
        let doc: Value = serde_json::from_str(row.get(0)).unwrap();
        assert_eq!(doc["rev"], row.get::<_, i64>(1));
        doc
    };
    let published = document("inspection", &recorded["id"]).await;
    assert_eq!(published["readings"][0]["verdict"], "unserviceable");
    assert_eq!(published["unit_id"], json!(unit));
    assert_eq!(
        document("finding", &recorded["findings"][0]["id"]).await,
        recorded["findings"][0]
    );
    assert_eq!(
        document("hold", &recorded["holds"][0]["id"]).await,
        recorded["holds"][0]
    );
    let gen_before: i64 = owner
        .query_one(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&org_id, &home],
        )
        .await
        .unwrap()
        .get(0);
    let correction = with(
        inspection(&unit, 1, auger_stops(true)),
        json!({"corrects": recorded["id"]}),
    );
    let correction = post(&technician, correction).await;
    let gen_after: i64 = owner
        .query_one(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&org_id, &home],
        )
        .await
        .unwrap()
        .get(0);
    assert_eq!(gen_after, gen_before + 1);
    let corrected = document("inspection", &recorded["id"]).await;
    assert_eq!(
        (&corrected["corrected_by"], &corrected["rev"]),
        (&correction["id"], &json!(2))
    );
    assert!(document("hold", &recorded["holds"][0]["id"]).await["lifted_at"].is_string());
    let audited: i64 = owner
        .query_one("select count(*) from audit where org_id = $1 and action = 'record' and object_kind = 'inspection' and person_id is not null and request_id is not null", &[&org_id])
        .await
        .unwrap()
        .get(0);
    assert_eq!(audited, 2);
}

#[tokio::test]
async fn a_safety_check_that_fails_hangs_one_tag_which_a_proven_repair_lifts() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let failed = post(&technician, inspection(&unit, 9, auger_stops(false))).await;
    assert_eq!(failed["findings"][0]["effect"], "hold");
    let hold = failed["holds"][0].clone();
    assert_eq!(
        (&hold["finding_id"], &hold["lifted_at"]),
        (&failed["findings"][0]["id"], &Value::Null)
    );
    // Found again: the same finding, the same tag.
    let again = post(&technician, inspection(&unit, 8, auger_stops(false))).await;
    assert_eq!(
        (&again["findings"], &again["holds"]),
        (&json!([]), &json!([]))
    );
    assert_eq!(
        again["proposed_work_orders"][0]["finding_id"],
        failed["findings"][0]["id"]
    );
    assert_eq!(
        (
            open_findings(&technician, &unit).await.len(),
            hanging(&technician, &unit).await.len()
        ),
        (1, 1)
    );

    let lift = format!("/v1/holds/{}/lift", hold["id"].as_str().unwrap());
    let by = async |inspection: &Value| {
        technician
            .post(&lift, &json!({"inspection_id": inspection["id"]}))
            .await
    };
    assert_eq!(
        by(&failed).await.problem(422),
        ["inspection_id"],
        "it is what hung the tag"
    );
    assert_eq!(
        by(&again).await.problem(422),
        ["inspection_id"],
        "the check still fails"
    );
    let other_check = post(&technician, inspection(&unit, 7, skid(5.0))).await;
    assert_eq!(
        by(&other_check).await.problem(422),
        ["inspection_id"],
        "it has no reading of the check"
    );
    let other_unit = Fleet::of(&server, "Home").await.unit;
    let of_another = post(&technician, inspection(&other_unit, 6, auger_stops(true))).await;
    assert_eq!(
        by(&of_another).await.problem(422),
        ["inspection_id"],
        "it is of another unit"
    );
    assert_eq!(
        by(&json!({"id": Uuid::now_v7()})).await.problem(422),
        ["inspection_id"],
        "there is no such inspection"
    );
    let before = post(&technician, inspection(&unit, 20, auger_stops(true))).await;
    assert_eq!(
        by(&before).await.problem(422),
        ["inspection_id"],
        "it was made before the tag was hung"
    );

    let repaired = post(
        &technician,
        with(
            inspection(&unit, 5, auger_stops(true)),
            json!({"kind": "after_repair"}),
        ),
    )
    .await;
    assert_eq!(repaired["findings"][0]["closed_by"], repaired["id"]);
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    assert_eq!(
        hanging(&technician, &unit).await.len(),
        1,
        "a person lifts it, not the inspection"
    );
    let lifted = by(&repaired).await.expect(200);
    assert_eq!(lifted.json()["lifted_inspection"], repaired["id"]);
    assert_eq!(lifted.etag(), "\"2\"");
    assert_eq!(hanging(&technician, &unit).await.len(), 0);
    by(&repaired).await.problem(409);
    let failed_again = post(&technician, inspection(&unit, 4, auger_stops(false))).await;
    assert_eq!(
        (
            failed_again["findings"].as_array().unwrap().len(),
            failed_again["holds"].as_array().unwrap().len()
        ),
        (1, 1)
    );
}

#[tokio::test]
async fn of_each_check_the_newest_reading_counts_whenever_it_arrives() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let found = post(&technician, inspection(&unit, 5, skid(1.0))).await;
    let late = post(&technician, inspection(&unit, 6, skid(4.0))).await;
    assert_eq!(
        late["findings"],
        json!([]),
        "a serviceable reading of before closes nothing"
    );
    assert_eq!(
        open_findings(&technician, &unit).await,
        found["findings"].as_array().unwrap().clone()
    );
    let renewed = post(&technician, inspection(&unit, 3, skid(5.5))).await;
    assert_eq!(renewed["findings"][0]["closed_by"], renewed["id"]);
    let late = post(&technician, inspection(&unit, 4, skid(0.9))).await;
    assert_eq!(
        (&late["findings"], &late["proposed_work_orders"]),
        (&json!([]), &json!([])),
        "an unserviceable one of before opens nothing"
    );
    assert_eq!(late["readings"][0]["verdict"], "unserviceable");
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    // Marginal is not unserviceable: it closes, too.
    post(&technician, inspection(&unit, 2, skid(1.0))).await;
    post(&technician, inspection(&unit, 1, skid(2.5))).await;
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    // A clock that is years ahead does not keep later readings from counting.
    let ahead = with(
        inspection(&unit, 0, skid(1.0)),
        json!({"performed_at": "2150-01-01T00:00:00Z"}),
    );
    let ahead = post(&technician, ahead).await;
    assert_eq!(ahead["flags"], json!(["suspect", "in the future"]));
    assert_eq!(open_findings(&technician, &unit).await.len(), 1);
    post(&technician, inspection(&unit, 0, skid(5.0))).await;
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
}

#[tokio::test]
async fn a_correction_takes_back_what_followed() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let slip = post(&technician, inspection(&unit, 5, auger_stops(false))).await;
    let slip_path = format!("/v1/inspections/{}", slip["id"].as_str().unwrap());
    let correcting = |old: &Value, days: i64, readings: Value| {
        with(
            inspection(&unit, days, readings),
            json!({"corrects": old["id"]}),
        )
    };
    let correction = post(&technician, correcting(&slip, 5, auger_stops(true))).await;
    assert_eq!(
        (
            open_findings(&technician, &unit).await.len(),
            hanging(&technician, &unit).await.len()
        ),
        (0, 0)
    );
    assert_eq!(correction["findings"][0]["closed_by"], correction["id"]);
    assert_eq!(
        correction["holds"][0]["lifted_inspection"],
        correction["id"]
    );
    // Never changed: it reads as it was, and says what corrects it.
    let old = technician.get(&slip_path).await.expect(200);
    assert_eq!(
        (&old.json()["corrected_by"], &old.json()["readings"]),
        (&correction["id"], &slip["readings"])
    );
    assert_eq!(old.etag(), "\"2\"");
    let twice = technician
        .post("/v1/inspections", &correcting(&slip, 5, auger_stops(true)))
        .await;
    assert_eq!(twice.problem(409), ["corrects"]);
    // The correction itself can be corrected, by an inspection without the reading, too: then what was before counts.
    post(&technician, correcting(&correction, 5, json!([]))).await;
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);

    let bad = post(&technician, inspection(&unit, 4, skid(1.0))).await;
    let slip = post(&technician, inspection(&unit, 3, skid(5.0))).await;
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    let correction = post(&technician, correcting(&slip, 3, skid(0.5))).await;
    let reopened = open_findings(&technician, &unit).await;
    assert_eq!(
        (&reopened[0]["id"], &reopened[0]["inspection_id"]),
        (&bad["findings"][0]["id"], &bad["id"])
    );
    assert_eq!(correction["findings"], json!(reopened));

    let other_unit = Fleet::of(&server, "Home").await.unit;
    let of_another = with(
        inspection(&other_unit, 3, skid(5.0)),
        json!({"corrects": bad["id"]}),
    );
    assert_eq!(
        technician
            .post("/v1/inspections", &of_another)
            .await
            .problem(422),
        ["corrects"]
    );
    let of_none = with(
        inspection(&unit, 3, skid(5.0)),
        json!({"corrects": Uuid::now_v7()}),
    );
    assert_eq!(
        technician
            .post("/v1/inspections", &of_none)
            .await
            .problem(422),
        ["corrects"]
    );
}

#[tokio::test]
async fn what_contradicts_other_facts_is_kept_and_flagged() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let flags = async |days: i64, hours: f64| {
        post(
            &technician,
            with(
                inspection(&unit, days, json!([])),
                json!({"run_hours": hours}),
            ),
        )
        .await["flags"]
            .clone()
    };
    let backwards = json!(["suspect", "hours run backwards"]);
    assert_eq!(flags(10, 100.0).await, json!([]));
    assert_eq!(flags(5, 99.9).await, backwards);
    assert_eq!(flags(4, 104.0).await, json!([]));
    assert_eq!(flags(7, 104.5).await, backwards, "more than later");
    assert_eq!(flags(6, 102.0).await, json!([]), "late, and in line");
    // The fleet's unit was acquired on 2020-10-01.
    let early = with(
        inspection(&unit, 0, json!([])),
        json!({"performed_at": "2020-09-30T12:00:00Z", "run_hours": 0}),
    );
    assert_eq!(
        post(&technician, early).await["flags"],
        json!(["suspect", "before the machine was acquired"])
    );
    // A clock a minute ahead is a clock.
    assert_eq!(
        post(&technician, inspection(&unit, 0, json!([]))).await["flags"],
        json!([])
    );
}

#[tokio::test]
async fn a_battery_is_held_against_the_forecast_low_and_a_belt_against_its_take_up() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let battery = json!([{"check": "battery_charge", "value": 1.165, "unit": "SG", "temperature_c": 26.7, "full_charge": 1.265}]);
    // At 1.165 it freezes somewhere under -15 degC (Army tables: 1.150 at -15, 1.190 at -26); the depot's design low is -15.
    let mild = post(&technician, inspection(&unit, 1, battery.clone())).await;
    assert_eq!(mild["readings"][0]["verdict"], "marginal");
    assert_eq!(mild["readings"][0]["inputs"]["context"]["low_c"], -15.0);
    let home = server.world.ours.home.id;
    let storm = json!({
        "name": "Cold one", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 200, "reclear_mm": 50,
        "low_c": -30, "depots": [home],
    });
    server
        .depot_lead()
        .await
        .post("/v1/storms", &storm)
        .await
        .expect(201);
    let cold = post(&technician, inspection(&unit, 0, battery)).await;
    assert_eq!(cold["readings"][0]["verdict"], "unserviceable");
    assert_eq!(cold["readings"][0]["flags"], json!(["will freeze"]));
    let kept = technician
        .get(&format!("/v1/inspections/{}", cold["id"].as_str().unwrap()))
        .await
        .expect(200)
        .json();
    assert_eq!(kept["readings"], cold["readings"]);

    // Take-up used up: for this season marginal, while the belt still rides high enough (common practice).
    let take_up = json!([{"check": "auger_take_up", "value": 0, "unit": "%"}]);
    let alone = post(&technician, inspection(&unit, 8, take_up.clone())).await;
    assert_eq!(alone["readings"][0]["verdict"], "marginal");
    assert_eq!(alone["readings"][0]["inputs"]["context"], json!({}));
    let ride = |value: f64| json!([{"check": "auger_belt_ride", "value": value, "unit": "mm"}]);
    post(&technician, inspection(&unit, 7, ride(-5.0))).await;
    let after = post(&technician, inspection(&unit, 6, take_up.clone())).await;
    assert_eq!(after["readings"][0]["verdict"], "unserviceable");
    assert_eq!(
        after["readings"][0]["inputs"]["context"]["backed_by"],
        "unserviceable"
    );
    let mut both = take_up.as_array().unwrap().clone();
    both.extend(ride(0.0).as_array().unwrap().clone());
    let together = post(&technician, inspection(&unit, 5, json!(both))).await;
    let take_up = together["readings"]
        .as_array()
        .unwrap()
        .iter()
        .find(|reading| reading["check"] == "auger_take_up");
    let take_up = take_up.unwrap();
    assert_eq!(
        (&take_up["verdict"], &take_up["flags"]),
        (&json!("marginal"), &json!(["renew before next season"]))
    );
}

#[tokio::test]
async fn every_value_that_no_inspection_can_have_is_named() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let good = || inspection(&unit, 1, skid(4.0));
    let reading = |change: Value| json!({"readings": [with(skid(4.0)[0].clone(), change)]});
    let one = |reading: Value| json!({"readings": [reading]});
    let foreign = Fleet::of(&server, "theirs").await.unit;
    let far = Fleet::of(&server, "Far").await.unit;
    let unknown = Uuid::now_v7();
    let many: Vec<Value> = (0..201)
        .map(|number| json!({"check": format!("check {number}"), "works": true}))
        .collect();
    let cases = [
        (json!({"unit_id": unknown}), "unit_id"),
        (json!({"unit_id": foreign}), "unit_id"),
        (json!({"unit_id": far}), "unit_id"),
        (json!({"unit_id": "machine 7"}), "unit_id"),
        (json!({"unit_id": null}), "unit_id"),
        (json!({"kind": "sometimes"}), "kind"),
        (json!({"performed_at": "yesterday"}), "performed_at"),
        (
            json!({"performed_at": "2024-13-01T00:00:00Z"}),
            "performed_at",
        ),
        (
            json!({"performed_at": "0001-01-01T00:00:00Z"}),
            "performed_at",
        ),
        (
            json!({"performed_at": "9999-01-01T00:00:00Z"}),
            "performed_at",
        ),
        (json!({"run_hours": -1}), "run_hours"),
        (json!({"run_hours": 100_001}), "run_hours"),
        (json!({"run_hours": "many"}), "run_hours"),
        (json!({"note": "x".repeat(2_001)}), "note"),
        (json!({"note": "nul \u{0}"}), "note"),
        (json!({"note": "bell \u{7}"}), "note"),
        (json!({"id": "0b54d1a2-6f0b-4b4e-8a39-5d3c9c1d5c11"}), "id"),
        (json!({"corrects": unknown}), "corrects"),
        (json!({"colour": "red"}), "colour"),
        (json!({"readings": null}), "readings"),
        (json!({"readings": {}}), "readings"),
        (json!({"readings": many}), "readings"),
        (reading(json!({"check": "paint"})), "readings[0].check"),
        (reading(json!({"check": "nul \u{0}"})), "readings[0].check"),
        (reading(json!({"value": null})), "readings[0].value"),
        (reading(json!({"value": "thin"})), "readings[0].value"),
        (reading(json!({"value": -1})), "readings[0].value"),
        (reading(json!({"value": 1e300})), "readings[0].value"),
        (reading(json!({"unit": null})), "readings[0].unit"),
        (reading(json!({"unit": "psi"})), "readings[0].unit"),
        (reading(json!({"unit": "ell"})), "readings[0].unit"),
        (reading(json!({"works": true})), "readings[0].works"),
        (reading(json!({"repeats": 0})), "readings[0].repeats"),
        (reading(json!({"repeats": 101})), "readings[0].repeats"),
        (reading(json!({"repeats": 1.5})), "readings[0].repeats"),
        (
            reading(json!({"note": "x".repeat(2_001)})),
            "readings[0].note",
        ),
        (
            reading(json!({"temperature_c": 20})),
            "readings[0].temperature_c",
        ),
        (reading(json!({"colour": "red"})), "readings[0].colour"),
        (
            one(json!({"check": "auger_belt_look"})),
            "readings[0].grade",
        ),
        (
            one(json!({"check": "auger_belt_look", "grade": "fine"})),
            "readings[0].grade",
        ),
        (
            one(json!({"check": "fuel_leak", "level": "wet"})),
            "readings[0].level",
        ),
        (one(json!({"check": "auger_stops"})), "readings[0].works"),
        (
            one(json!({"check": "auger_stops", "works": "yes"})),
            "readings[0].works",
        ),
        (
            one(json!({"check": "tyre_left", "value": 110, "unit": "kPa", "temperature": 20})),
            "readings[0].temperature_unit",
        ),
        (
            one(
                json!({"check": "tyre_left", "value": 110, "unit": "kPa", "temperature": 20, "temperature_unit": "V"}),
            ),
            "readings[0].temperature_unit",
        ),
        (
            one(
                json!({"check": "tyre_left", "value": 110, "unit": "kPa", "temperature_unit": "degC"}),
            ),
            "readings[0].temperature",
        ),
        (
            one(
                json!({"check": "tyre_left", "value": 110, "unit": "kPa", "temperature": 20, "temperature_unit": "degC", "temperature_c": 20}),
            ),
            "readings[0].temperature",
        ),
        (
            one(json!({"check": "tyre_left", "value": 110, "unit": "kPa", "temperature_c": 500})),
            "readings[0].temperature_c",
        ),
        (
            one(
                json!({"check": "battery_charge", "value": 1.2, "unit": "SG", "temperature_c": 20, "full_charge": 7}),
            ),
            "readings[0].full_charge",
        ),
        (
            json!({"readings": [skid(4.0)[0], auger_stops(true)[0], skid(4.0)[0]]}),
            "readings[2].check",
        ),
    ];
    for (change, field) in cases {
        let body = with(good(), change.clone());
        assert_eq!(
            technician.post("/v1/inspections", &body).await.problem(422),
            [field],
            "{change}"
        );
    }
    for field in ["unit_id", "kind", "performed_at", "readings"] {
        let mut body = good();
        body.as_object_mut().unwrap().remove(field);
        assert_eq!(
            technician.post("/v1/inspections", &body).await.problem(422),
            [field]
        );
    }
    // Beyond what a number can be: JSON knows no infinity.
    let infinite = technician
        .request(Method::POST, "/v1/inspections")
        .header("Content-Type", "application/json");
    let infinite = Answer::of(infinite.body(good().to_string().replace("4.0", "1e999"))).await;
    assert!(matches!(infinite.status, 400 | 422), "{}", infinite.body);
    let notes: Vec<Value> = [
        "skid_thickness",
        "scraper_edge",
        "impeller_gap",
        "friction_ring",
        "chain_stretch",
    ]
    .iter()
    .chain(&[
        "axle_play",
        "hex_shaft_play",
        "drive_plate_groove",
        "auger_sheave_wear",
        "idler_spring_length",
    ])
    .chain(&["auger_clearance", "spark_plug_gap", "friction_gap"])
    .map(|check| json!({"check": check, "value": 3, "unit": "mm", "note": "x".repeat(2_000)}))
    .collect();
    let long = with(good(), json!({"readings": notes}));
    assert_eq!(
        technician.post("/v1/inspections", &long).await.problem(422),
        ["readings"]
    );
    // To the byte the same, whether a unit is somebody else's or nobody's.
    let told = async |unit: &str| {
        technician
            .post("/v1/inspections", &with(good(), json!({"unit_id": unit})))
            .await
            .body
    };
    assert_eq!(told(&foreign).await, told(&unknown.to_string()).await);
    assert_eq!(told(&far).await, told(&unknown.to_string()).await);
    assert_eq!(
        items(&technician, "/v1/inspections").await.len(),
        0,
        "nothing was stored"
    );
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
}

#[tokio::test]
async fn a_list_is_narrowed_by_what_is_asked_and_what_is_granted() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let far = Fleet::of(&server, "Far").await.unit;
    let (technician, administrator) = (server.technician().await, server.administrator().await);
    let mut ids = Vec::new();
    for (unit, days, kind) in [
        (&unit, 9, "pre_season"),
        (&unit, 5, "in_season"),
        (&far, 3, "in_season"),
        (&unit, 1, "storage"),
    ] {
        let body = with(inspection(unit, days, skid(4.0)), json!({"kind": kind}));
        ids.push(
            post(&administrator, body).await["id"]
                .as_str()
                .unwrap()
                .to_owned(),
        );
    }
    let seen = async |actor: &Actor, query: &str| -> Vec<usize> {
        let items = items(actor, &format!("/v1/inspections{query}")).await;
        items
            .iter()
            .map(|item| ids.iter().position(|id| item["id"] == json!(id)).unwrap())
            .collect()
    };
    let (home, far_depot) = (server.world.ours.home.id, server.world.ours.far.id);
    let time = |days: i64| days_ago(days).replace('+', "%2B");
    assert_eq!(seen(&administrator, "").await, [0, 1, 2, 3]);
    assert_eq!(seen(&technician, "").await, [0, 1, 3]);
    assert_eq!(seen(&administrator, &format!("?unit_id={far}")).await, [2]);
    assert_eq!(
        seen(&technician, &format!("?unit_id={far}")).await,
        [0usize; 0]
    );
    assert_eq!(
        seen(&administrator, &format!("?depot_id={far_depot}")).await,
        [2]
    );
    assert_eq!(
        seen(&technician, &format!("?depot_id={far_depot}")).await,
        [0usize; 0]
    );
    assert_eq!(
        seen(&administrator, &format!("?depot_id={home}&kind=in_season")).await,
        [1]
    );
    assert_eq!(
        seen(
            &administrator,
            &format!("?performed_from={}&performed_to={}", time(6), time(2))
        )
        .await,
        [1, 2]
    );
    assert_eq!(
        seen(&server.foreign_administrator().await, "").await,
        [0usize; 0]
    );
    let first = administrator
        .get("/v1/inspections?limit=3")
        .await
        .expect(200)
        .json();
    let cursor = first["next_cursor"].as_str().unwrap();
    assert_eq!(
        seen(&administrator, &format!("?limit=3&cursor={cursor}")).await,
        [3]
    );
    for (query, field) in [
        ("kind=now", "kind"),
        ("performed_from=x", "performed_from"),
        ("open=true", "open"),
        ("unit_id=7", "unit_id"),
    ] {
        assert_eq!(
            technician
                .get(&format!("/v1/inspections?{query}"))
                .await
                .problem(400),
            [field]
        );
    }
    let hidden = technician.get(&format!("/v1/inspections/{}", ids[2])).await;
    assert_eq!(
        (hidden.status, &hidden.body),
        (
            404,
            &technician
                .get(&format!("/v1/inspections/{}", Uuid::now_v7()))
                .await
                .body
        )
    );
}

#[tokio::test]
async fn who_may_record() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let body = inspection(&unit, 1, skid(4.0));
    for actor in [
        server.technician().await,
        server.depot_lead().await,
        server.administrator().await,
    ] {
        post(&actor, body.clone()).await;
    }
    for actor in [
        server.operator().await,
        server.district_manager().await,
        server.depot_system().await,
    ] {
        actor.post("/v1/inspections", &body).await.problem(403);
        assert_eq!(
            items(&actor, "/v1/inspections").await.len(),
            3,
            "reading is for everyone"
        );
    }
}

#[tokio::test]
async fn a_correction_sent_twice_is_answered_the_same() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let slip = post(&technician, inspection(&unit, 3, auger_stops(false))).await;
    let right = inspection(&unit, 3, auger_stops(true));
    let correction = with(right, json!({"corrects": slip["id"]}));
    let send = || {
        Answer::of(
            technician
                .request(Method::POST, "/v1/inspections")
                .header("Idempotency-Key", "correction 1")
                .json(&correction),
        )
    };
    let first = send().await.expect(201);
    let again = send().await.expect(201);
    assert_eq!(
        (&first.body, first.etag(), first.header("location")),
        (&again.body, again.etag(), again.header("location"))
    );
    assert_eq!(items(&technician, "/v1/inspections").await.len(), 2);
}

#[tokio::test]
async fn the_same_inspection_sent_twice_counts_once() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let body = with(
        inspection(&unit, 1, auger_stops(false)),
        json!({"id": Uuid::now_v7()}),
    );
    let send = || {
        Answer::of(
            technician
                .request(Method::POST, "/v1/inspections")
                .header("Idempotency-Key", "slip 1")
                .json(&body),
        )
    };
    let first = send().await.expect(201);
    let again = send().await.expect(201);
    assert_eq!(first.body, again.body);
    assert_eq!(
        technician.post("/v1/inspections", &body).await.problem(409),
        ["id"],
        "without the key, the id tells"
    );
    let other = with(body.clone(), json!({"id": Uuid::now_v7()}));
    let reused = technician
        .request(Method::POST, "/v1/inspections")
        .header("Idempotency-Key", "slip 1")
        .json(&other);
    assert_eq!(Answer::of(reused).await.problem(422), ["Idempotency-Key"]);
    assert_eq!(
        (
            items(&technician, "/v1/inspections").await.len(),
            hanging(&technician, &unit).await.len()
        ),
        (1, 1)
    );
}

#[tokio::test]
async fn a_reading_belongs_to_the_part_that_was_fitted_then() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let fitting = json!({"part": "skid_shoes", "how": "renewed", "fitted_at": days_ago(3)});
    let renewed = technician
        .post(&format!("/v1/units/{unit}/parts"), &fitting)
        .await
        .expect(201)
        .id();
    let part = async |days: i64| {
        let recorded = post(&technician, inspection(&unit, days, skid(4.0))).await;
        recorded["readings"][0]["fitted_part_id"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    assert_eq!(part(2).await, renewed);
    assert_eq!(part(1).await, renewed);
    // Late, and of the part before.
    let before = part(5).await;
    assert_ne!(before, renewed);
    assert_eq!(part(4).await, before);
    let no_part = post(&technician, inspection(&unit, 1, auger_stops(true))).await;
    assert_eq!(no_part["readings"][0]["fitted_part_id"], Value::Null);
}

#[tokio::test]
async fn a_unit_that_has_moved_is_inspected_where_it_is_and_corrected_where_it_was() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let (technician, administrator) = (server.technician().await, server.administrator().await);
    let there = post(&technician, inspection(&unit, 5, auger_stops(false))).await;
    let path = format!("/v1/units/{unit}");
    let far = server.world.ours.far.id;
    administrator
        .patch(&path, "\"1\"", &json!({"depot_id": far}))
        .await
        .expect(200);
    // What was noted at Home stays readable there; what is open went along.
    technician
        .get(&format!(
            "/v1/inspections/{}",
            there["id"].as_str().unwrap()
        ))
        .await
        .expect(200);
    technician
        .get(&format!(
            "/v1/holds/{}",
            there["holds"][0]["id"].as_str().unwrap()
        ))
        .await
        .problem(404);
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    let none = technician
        .post("/v1/inspections", &inspection(&unit, 4, auger_stops(true)))
        .await;
    assert_eq!(none.problem(422), ["unit_id"]);

    let correction = with(
        inspection(&unit, 5, auger_stops(true)),
        json!({"corrects": there["id"]}),
    );
    let correction = post(&administrator, correction).await;
    assert_eq!(correction["depot_id"], json!(far));
    assert_eq!(
        correction["holds"][0]["lifted_inspection"],
        correction["id"]
    );
    assert_eq!(
        (
            open_findings(&administrator, &unit).await.len(),
            hanging(&administrator, &unit).await.len()
        ),
        (0, 0)
    );
    let owner = owner(&server).await;
    let old: Uuid = there["id"].as_str().unwrap().parse().unwrap();
    let sql = "select scope_id, doc from feed_entry where kind = 'inspection' and object_id = $1";
    let row = owner.query_one(sql, &[&old]).await.unwrap();
    let doc: Value = serde_json::from_str(row.get(1)).unwrap();
    assert_eq!(
        (row.get::<_, Uuid>(0), &doc["corrected_by"]),
        (server.world.ours.home.id, &correction["id"])
    );
}

/// The technician, as the store knows them.
async fn technician_at_home(server: &TestServer) -> Tenant {
    let owner = owner(server).await;
    let org_id = server.world.ours.org_id;
    let sql = "select id from person where org_id = $1 and role = 'technician'";
    let person_id: Uuid = owner.query_one(sql, &[&org_id]).await.unwrap().get(0);
    let depots = Depots::Some([server.world.ours.home.id].into());
    Tenant {
        org_id,
        person_id: Some(person_id),
        role: Role::Technician,
        depots,
        request_id: None,
        session: None,
    }
}

async fn record(
    database: &Database,
    tenant: &Tenant,
    new: &[NewInspection],
) -> Result<Vec<Recorded>, Error> {
    let scopes = database
        .read(tenant, async |tx| inspections::scopes(tx, new).await)
        .await?;
    feed::write(database, tenant, &scopes, async |tx| {
        inspections::record_many(tx, new).await
    })
    .await
}

#[tokio::test]
async fn many_at_once_end_as_one_by_one() {
    let server = TestServer::start().await;
    let tenant = technician_at_home(&server).await;
    let technician = server.technician().await;
    let history = |unit: &str| -> Vec<NewInspection> {
        let belt = |ride: f64, take_up: f64| {
            json!([
                {"check": "auger_take_up", "value": take_up, "unit": "%"},
                {"check": "auger_belt_ride", "value": ride, "unit": "mm"},
            ])
        };
        let take_up = json!([{"check": "auger_take_up", "value": 0, "unit": "%"}]);
        let all = [
            (50, 10.0, skid(1.0)),
            (40, 20.0, skid(5.0)),
            (39, 19.0, auger_stops(false)),
            (30, 30.0, belt(-5.0, 0.0)),
            (29, 31.0, take_up.clone()),
            (20, 40.0, belt(0.5, 80.0)),
            (19, 39.5, auger_stops(true)),
            (10, 50.0, auger_stops(false)),
            (9, 51.0, take_up),
        ];
        let new = all.map(|(days, hours, readings)| {
            with(
                inspection(unit, days, readings),
                json!({"run_hours": hours}),
            )
        });
        new.into_iter()
            .map(|new| serde_json::from_value(new).unwrap())
            .collect()
    };
    let (first, second, third) = (
        fleet(&server).await.unit,
        fleet(&server).await.unit,
        fleet(&server).await.unit,
    );
    for new in history(&first) {
        record(&server.database, &tenant, &[new]).await.unwrap();
    }
    // Newest first, two machines' mixed.
    let mut both: Vec<NewInspection> = history(&second)
        .into_iter()
        .zip(history(&third))
        .flat_map(|(a, b)| [a, b])
        .collect();
    both.reverse();
    let recorded = record(&server.database, &tenant, &both).await.unwrap();
    assert_eq!(recorded.len(), 18);

    // Everything there is to say of a unit, but for ids and when it was received.
    let told = async |unit: &str| -> Vec<Value> {
        let mut told = Vec::new();
        let mut inspections = items(&technician, &format!("/v1/inspections?unit_id={unit}")).await;
        inspections
            .sort_by_key(|inspection| inspection["performed_at"].as_str().unwrap().to_owned());
        let place = |id: &Value| {
            inspections
                .iter()
                .position(|inspection| &inspection["id"] == id)
        };
        let mut findings = items(&technician, &format!("/v1/findings?unit_id={unit}")).await;
        findings.sort_by_key(|finding| {
            (
                finding["opened_at"].as_str().unwrap().to_owned(),
                finding["check"].to_string(),
            )
        });
        for finding in &findings {
            let (opened, closed) = (
                place(&finding["inspection_id"]),
                place(&finding["closed_by"]),
            );
            told.push(json!([
                finding["check"],
                finding["effect"],
                finding["text"],
                opened,
                closed
            ]));
        }
        let mut holds = items(&technician, &format!("/v1/holds?unit_id={unit}")).await;
        holds.sort_by_key(|hold| hold["placed_at"].as_str().unwrap().to_owned());
        told.extend(holds.iter().map(|hold| hold["reason"].clone()));
        for inspection in &inspections {
            let path = format!("/v1/inspections/{}", inspection["id"].as_str().unwrap());
            let whole = technician.get(&path).await.expect(200).json();
            for reading in whole["readings"].as_array().unwrap() {
                told.push(json!([
                    reading["check"],
                    reading["verdict"],
                    reading["flags"],
                    reading["inputs"]
                ]));
            }
            told.push(inspection["flags"].clone());
        }
        told
    };
    let one_by_one = told(&first).await;
    assert!(
        one_by_one.contains(&json!(["suspect", "hours run backwards"])),
        "{one_by_one:?}"
    );
    assert_eq!(one_by_one, told(&second).await);
    assert_eq!(one_by_one, told(&third).await);

    // Nothing of a batch is stored when one of it cannot be, and that one is named.
    let mut bad = history(&first);
    bad[3].readings[1].unit = Some("psi".to_owned());
    match record(&server.database, &tenant, &bad).await {
        Err(Error::Invalid { field, .. }) => assert_eq!(field, "[3].readings[1].unit"),
        other => panic!("{other:?}"),
    }
    assert_eq!(one_by_one, told(&first).await);
}
