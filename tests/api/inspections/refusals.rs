//! What is refused, and to whom.

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{auger_stops, inspection, items, open_findings, post, skid, with};
use crate::api::fleet::{Fleet, fleet};

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
