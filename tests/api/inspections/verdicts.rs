//! What a reading comes to, and what follows from it.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::{auger_stops, inspection, open_findings, post, skid, with};
use crate::api::fleet::{Fleet, days_ago, fleet, owner};

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
