//! /v1/work-orders: opened by hand, listed, and who may.

use rimeyard_harness::{Actor, Answer, TestServer};
use serde_json::{Value, json};

use super::fleet::{Fleet, days_ago, fleet, items, posted};
use super::stock::part;

/// What an inspection, so many days ago, came to.
pub async fn inspected(actor: &Actor, unit: &str, days: i64, readings: Value) -> Value {
    let new = json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "readings": readings});
    actor.post("/v1/inspections", &new).await.expect(201).json()
}

/// Skid shoes that are worn through.
pub fn worn_shoes() -> Value {
    json!({"check": "skid_thickness", "value": 1, "unit": "mm"})
}

/// Skid shoes as new.
pub fn sound_shoes() -> Value {
    json!({"check": "skid_thickness", "value": 6, "unit": "mm"})
}

/// No clean-out tool aboard: a safety check.
pub fn no_tool() -> Value {
    json!({"check": "clean_out_tool", "works": false})
}

/// The open order of a unit.
pub async fn order_of(actor: &Actor, unit: &str) -> Value {
    let mut orders = items(actor, &format!("/v1/work-orders?unit_id={unit}&open=true")).await;
    assert_eq!(orders.len(), 1, "{orders:?}");
    orders.remove(0)
}

/// Changes an order as it stands now.
pub async fn changed(actor: &Actor, order: &str, change: &Value) -> Answer {
    let path = format!("/v1/work-orders/{order}");
    let etag = actor.get(&path).await.expect(200).etag();
    actor.patch(&path, &etag, change).await
}

#[tokio::test]
async fn an_order_by_hand_takes_title_minutes_and_parts_from_the_sheet() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let (oil, ring) = (
        part(&technician, "engine oil").await,
        part(&technician, "friction ring").await,
    );
    let unit = fleet(&server).await.unit;
    let new = json!({
        "unit_id": unit, "planned_for": "2026-10-05", "note": "before the first snow",
        "lines": [
            {"task": "engine_oil"}, {"part": "friction_ring"}, {"title": "Paint the chute", "minutes_planned": 30},
            {"task": "engine_oil", "title": "Oil again", "minutes_planned": 5},
        ],
    });
    let order = technician
        .post("/v1/work-orders", &new)
        .await
        .expect(201)
        .json();
    let lines = order["lines"].as_array().unwrap();
    let told: Vec<_> = lines
        .iter()
        .map(|line| {
            (
                line["title"].as_str().unwrap(),
                line["minutes_planned"].as_f64(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("Change the engine oil, warm", Some(20.0)),
            ("Renew the friction ring", Some(75.0)),
            ("Paint the chute", Some(30.0)),
            ("Oil again", Some(5.0)),
        ]
    );
    assert_eq!(order["title"], "Change the engine oil, warm");
    let mut needs = vec![(oil, 2), (ring, 1)];
    needs.sort();
    let mut told: Vec<(String, i64)> = order["needs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|need| {
            (
                need["part_id"].as_str().unwrap().to_owned(),
                need["quantity"].as_i64().unwrap(),
            )
        })
        .collect();
    told.sort();
    assert_eq!(told, needs);
    // Lines of an order change one by one; a finding is on one open order.
    let finding = inspected(&technician, &unit, 1, json!([worn_shoes()])).await;
    let finding = finding["findings"][0]["id"].clone();
    let id = order["id"].as_str().unwrap();
    let add = json!({"lines": [{"finding_id": finding}]});
    assert_eq!(
        changed(&technician, id, &add).await.problem(409),
        ["lines[0].finding_id"]
    );
    let change = json!({"lines": [
        {"id": lines[2]["id"], "title": "Paint chute and housing", "minutes_worked": 50, "done": true},
        {"title": "Wash it"},
    ]});
    let order = changed(&technician, id, &change).await.expect(200).json();
    // The finding's is among them: the order was still in state found when it was made.
    assert_eq!(order["lines"].as_array().unwrap().len(), 6);
    assert_eq!(order["lines"][4]["finding_id"], finding);
    let painted = &order["lines"][2];
    assert_eq!(
        (
            &painted["title"],
            &painted["minutes_worked"],
            &painted["minutes_planned"]
        ),
        (
            &json!("Paint chute and housing"),
            &json!(50.0),
            &json!(30.0)
        )
    );
    assert!(painted["done_at"].is_string());
}

#[tokio::test]
async fn an_operator_reports_a_fault_in_a_minute_and_no_more() {
    let server = TestServer::start().await;
    let operator = server.operator().await;
    let unit = fleet(&server).await.unit;
    let fault = json!({"unit_id": unit, "symptom": "will not throw, smells of rubber", "noticed_at": days_ago(0)});
    let created = operator.post("/v1/work-orders", &fault).await.expect(201);
    let order = created.json();
    assert_eq!(
        (&order["state"], &order["title"]),
        (&json!("found"), &fault["symptom"])
    );
    assert_eq!(order["lines"][0]["title"], fault["symptom"]);
    for (field, value) in [
        ("title", json!("Belt")),
        ("planned_for", json!("2026-12-01")),
        ("lines", json!([{"title": "New belt"}])),
        ("needs", json!([])),
        ("symptom", Value::Null),
    ] {
        let mut more = fault.clone();
        more[field] = value;
        operator.post("/v1/work-orders", &more).await.problem(403);
    }
    let path = created.header("location").to_owned();
    operator
        .patch(&path, &created.etag(), &json!({"state": "planned"}))
        .await
        .problem(403);
    let system = server.depot_system().await;
    assert_eq!(
        system.get(&path).await.expect(200).json()["symptom"],
        fault["symptom"]
    );
    system.post("/v1/work-orders", &fault).await.problem(403);
    // What is found on it later goes onto the same order.
    let technician = server.technician().await;
    inspected(
        &technician,
        &unit,
        0,
        json!([{"check": "auger_belt_ride", "value": -4, "unit": "mm"}]),
    )
    .await;
    let order = order_of(&technician, &unit).await;
    assert_eq!(order["lines"].as_array().unwrap().len(), 2);
}

#[tokio::test]
async fn orders_are_listed_by_depot_unit_and_state_page_by_page() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let here = Fleet::at(&administrator, &home).await.unit;
    let there = Fleet::at(&administrator, &far).await.unit;
    let fault = |unit: &str, symptom: &str| json!({"unit_id": unit, "symptom": symptom});
    for number in 0..3 {
        posted(
            &administrator,
            "/v1/work-orders",
            &fault(&here, &format!("fault {number}")),
        )
        .await;
    }
    let far_away = posted(&administrator, "/v1/work-orders", &fault(&there, "fault")).await;
    let technician = server.technician().await;
    let seen = items(&technician, "/v1/work-orders").await;
    assert_eq!(seen.len(), 3);
    technician
        .get(&format!("/v1/work-orders/{far_away}"))
        .await
        .problem(404);
    assert!(
        items(&technician, &format!("/v1/work-orders?depot_id={}", far.id))
            .await
            .is_empty()
    );
    let id = seen[0]["id"].as_str().unwrap();
    changed(&technician, id, &json!({"state": "on the bench"}))
        .await
        .expect(200);
    let benched = items(&technician, "/v1/work-orders?state=on%20the%20bench").await;
    assert_eq!((benched.len(), &benched[0]["id"]), (1, &seen[0]["id"]));
    let page = administrator
        .get("/v1/work-orders?limit=3")
        .await
        .expect(200)
        .json();
    let cursor = page["next_cursor"].as_str().unwrap();
    let rest = items(
        &administrator,
        &format!("/v1/work-orders?limit=3&cursor={cursor}"),
    )
    .await;
    assert_eq!(rest.len(), 1);
    assert!(
        items(&technician, "/v1/work-orders?open=false")
            .await
            .is_empty()
    );
    for query in [
        "limit=0",
        "limit=201",
        "cursor=x",
        "state=lost",
        "unit_id=x",
        "open=2",
        "colour=red",
    ] {
        let field = query.split('=').next().unwrap();
        let path = format!("/v1/work-orders?{query}");
        assert_eq!(technician.get(&path).await.problem(400), [field]);
    }
}
