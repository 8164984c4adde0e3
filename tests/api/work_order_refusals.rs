//! What no work order and no change of one can be.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{days_ago, fleet, items, posted};
use super::stock::part;
use super::work_orders::{changed, inspected, order_of, worn_shoes};

const ABSENT: &str = "0198c0de-0000-7000-8000-000000000000";

#[tokio::test]
async fn what_no_new_order_can_be_is_named_and_nothing_is_opened() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    let other = fleet(&server).await.unit;
    let foreign_finding =
        inspected(&technician, &other, 1, json!([worn_shoes()])).await["findings"][0]["id"].clone();
    let many = vec![json!({"title": "x"}); 61];
    let operator_elsewhere = server.foreign_administrator().await;
    let stranger = items(&operator_elsewhere, "/v1/people").await[0]["id"].clone();
    let part = part(&technician, "engine oil").await;
    for (field, value, named) in [
        ("unit_id", json!(ABSENT), "unit_id"),
        ("id", json!(Uuid::nil()), "id"),
        ("title", json!("a\u{0}"), "title"),
        ("title", json!("x".repeat(201)), "title"),
        ("symptom", json!("a\nb"), "symptom"),
        ("symptom", json!("x".repeat(201)), "symptom"),
        ("noticed_at", json!(days_ago(1)), "noticed_at"),
        ("note", json!("a\u{0}"), "note"),
        ("note", json!("x".repeat(2_001)), "note"),
        ("planned_for", json!("2026-02-30"), "planned_for"),
        ("planned_for", json!("1999-01-01"), "planned_for"),
        ("assigned_to", json!(ABSENT), "assigned_to"),
        ("assigned_to", stranger, "assigned_to"),
        ("lines", json!([]), "lines"),
        ("lines", json!(many), "lines"),
        ("lines", json!([{}]), "lines[0].title"),
        (
            "lines",
            json!([{"title": "x", "minutes_planned": -1}]),
            "lines[0].minutes_planned",
        ),
        (
            "lines",
            json!([{"title": "x", "minutes_planned": 1e300}]),
            "lines[0].minutes_planned",
        ),
        ("lines", json!([{"title": "x\u{0}"}]), "lines[0].title"),
        ("lines", json!([{"task": "sing"}]), "lines[0].task"),
        ("lines", json!([{"part": "wings"}]), "lines[0].part"),
        (
            "lines",
            json!([{"task": "engine_oil", "part": "auger_belt"}]),
            "lines[0]",
        ),
        (
            "lines",
            json!([{"finding_id": ABSENT}]),
            "lines[0].finding_id",
        ),
        (
            "lines",
            json!([{"finding_id": foreign_finding}]),
            "lines[0].finding_id",
        ),
        (
            "needs",
            json!([{"part_id": ABSENT, "quantity": 1}]),
            "needs[0].part_id",
        ),
        (
            "needs",
            json!([{"part_id": part, "quantity": 0}]),
            "needs[0].quantity",
        ),
        (
            "needs",
            json!([{"part_id": part, "quantity": 1}, {"part_id": part, "quantity": 1}]),
            "needs[1].part_id",
        ),
        ("colour", json!("red"), "colour"),
    ] {
        let mut new = json!({"unit_id": unit, "lines": [{"title": "Look at it"}]});
        new[field] = value;
        assert_eq!(
            technician.post("/v1/work-orders", &new).await.problem(422),
            [named],
            "{new}"
        );
    }
    assert!(
        items(&technician, &format!("/v1/work-orders?unit_id={unit}"))
            .await
            .is_empty()
    );
    // The same order sent twice is one.
    let new = json!({"id": Uuid::now_v7(), "unit_id": unit, "symptom": "rattles"});
    posted(&technician, "/v1/work-orders", &new).await;
    assert_eq!(
        technician.post("/v1/work-orders", &new).await.problem(409),
        ["id"]
    );
}

#[tokio::test]
async fn what_no_change_can_be_is_named_and_nothing_is_changed() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    let created = technician
        .post(
            "/v1/work-orders",
            &json!({"unit_id": unit, "symptom": "rattles"}),
        )
        .await
        .expect(201);
    let (id, line) = (created.id(), created.json()["lines"][0]["id"].clone());
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let of_line = |field: &str, value: Value| {
        let mut change = json!({"id": line});
        change[field] = value;
        json!({"lines": [change]})
    };
    let span = |from: i64, to: i64| json!({"from": days_ago(from), "to": days_ago(to), "reason": "under repair"});
    for (change, named) in [
        (json!({"state": "lost"}), "state"),
        (json!({"state": "dropped"}), "drop_reason"),
        (
            json!({"state": "dropped", "drop_reason": " "}),
            "drop_reason",
        ),
        (json!({"drop_reason": "because"}), "drop_reason"),
        (json!({"state": "waits for parts"}), "waits_for"),
        (json!({"waits_for": "a casting"}), "waits_for"),
        (
            json!({"state": "waits for parts", "waits_for": "x".repeat(201)}),
            "waits_for",
        ),
        (json!({"title": ""}), "title"),
        (json!({"title": null}), "title"),
        (json!({"note": "a\u{0}"}), "note"),
        (json!({"planned_for": "soon"}), "planned_for"),
        (json!({"assigned_to": absent}), "assigned_to"),
        (json!({"proved_by": absent}), "proved_by"),
        (
            json!({"needs": [{"part_id": absent, "quantity": 1}]}),
            "needs[0].part_id",
        ),
        (
            json!({"uses": [{"part_id": absent, "quantity": 1}]}),
            "uses[0].part_id",
        ),
        (
            json!({"lines": [{"id": absent, "done": true}]}),
            "lines[0].id",
        ),
        (json!({"lines": [{"done": true}]}), "lines[0].title"),
        (of_line("title", json!("a\u{0}")), "lines[0].title"),
        (
            of_line("minutes_worked", json!(-1)),
            "lines[0].minutes_worked",
        ),
        (
            of_line("minutes_worked", json!(100_001)),
            "lines[0].minutes_worked",
        ),
        (of_line("taken_off", json!("")), "lines[0].taken_off"),
        (of_line("task", json!("engine_oil")), "lines[0].task"),
        (
            of_line("done_at", json!("1800-01-01T00:00:00Z")),
            "lines[0].done_at",
        ),
        (of_line("colour", json!("red")), "lines[0].colour"),
        (
            json!({"lines": [{"id": line, "done": true, "taken_off": "no"}]}),
            "lines[0].taken_off",
        ),
        (
            json!({"lines": [{"id": line, "done": false, "done_at": days_ago(1)}]}),
            "lines[0].done_at",
        ),
        (json!({"downtime": [span(1, 2)]}), "downtime[0].to"),
        (json!({"downtime": [span(3, -3)]}), "downtime[0].to"),
        (
            json!({"downtime": [span(5, 2), span(3, 1)]}),
            "downtime[1].from",
        ),
        (
            json!({"downtime": [{"from": days_ago(1), "reason": ""}]}),
            "downtime[0].reason",
        ),
        (
            json!({"downtime": [{"from": days_ago(1)}]}),
            "downtime[0].reason",
        ),
        (json!({"unit_id": unit}), "unit_id"),
    ] {
        assert_eq!(
            changed(&technician, &id, &change).await.problem(422),
            [named],
            "{change}"
        );
    }
    let order = order_of(&technician, &unit).await;
    assert_eq!(order["rev"], 1);
    let downtime = json!({"downtime": [
        {"from": days_ago(1), "to": null, "reason": "waits for a person"}, span(4, 3),
    ]});
    let order = changed(&technician, &id, &downtime)
        .await
        .expect(200)
        .json();
    assert_eq!(order["downtime"][0]["reason"], "under repair");
}
