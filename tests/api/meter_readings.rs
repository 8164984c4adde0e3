//! /v1/meter-readings

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, days_ago, fleet, owner};

fn reading(unit: &str, days: i64, change: Value) -> Value {
    let mut body = json!({"unit_id": unit, "read_at": days_ago(days)});
    body.as_object_mut()
        .unwrap()
        .extend(change.as_object().unwrap().clone());
    body
}

async fn post(actor: &Actor, body: Value) -> Value {
    actor
        .post("/v1/meter-readings", &body)
        .await
        .expect(201)
        .json()
}

#[tokio::test]
async fn hours_and_starts_are_recorded_found_and_published() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let operator = server.operator().await;
    let body = reading(
        &unit,
        1,
        json!({"run_hours": 12.5, "started": true, "note": "cold"}),
    );
    let answer = operator.post("/v1/meter-readings", &body).await.expect(201);
    let recorded = answer.json();
    let path = format!("/v1/meter-readings/{}", answer.id());
    assert_eq!(answer.header("location"), path);
    assert_eq!(
        (
            &recorded["run_hours"],
            &recorded["started"],
            &recorded["estimated"]
        ),
        (&json!(12.5), &json!(true), &json!(false))
    );
    assert_eq!(
        (&recorded["flags"], &recorded["rev"]),
        (&json!([]), &json!(1))
    );
    let found = operator.get(&path).await.expect(200);
    assert_eq!(
        (found.json(), found.etag()),
        (recorded.clone(), "\"1\"".to_owned())
    );
    let listed = operator
        .get(&format!("/v1/meter-readings?unit_id={unit}"))
        .await
        .expect(200)
        .json();
    assert_eq!(listed["items"], json!([recorded]));

    let correction = post(
        &operator,
        reading(
            &unit,
            1,
            json!({"run_hours": 11.5, "corrects": recorded["id"]}),
        ),
    )
    .await;
    let corrected = operator.get(&path).await.expect(200);
    assert_eq!(
        (&corrected.json()["corrected_by"], corrected.etag()),
        (&correction["id"], "\"2\"".to_owned())
    );
    let owner = owner(&server).await;
    let (org_id, home) = (server.world.ours.org_id, server.world.ours.home.id);
    let id: Uuid = answer.id().parse().unwrap();
    let sql = "select doc from feed_entry where org_id = $1 and scope_id = $2 and kind = 'meter-reading' and object_id = $3";
    let doc: Value = serde_json::from_str(
        owner
            .query_one(sql, &[&org_id, &home, &id])
            .await
            .unwrap()
            .get(0),
    )
    .unwrap();
    assert_eq!(doc, corrected.json());
    // Unit, and two readings.
    let marked: i64 = owner
        .query_one(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&org_id, &home],
        )
        .await
        .unwrap()
        .get(0);
    post(&operator, reading(&unit, 0, json!({"started": false}))).await;
    let after: i64 = owner
        .query_one(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&org_id, &home],
        )
        .await
        .unwrap()
        .get(0);
    assert_eq!(after, marked + 1);
}

#[tokio::test]
async fn what_contradicts_other_facts_is_kept_and_flagged() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let flags = async |days: i64, change: Value| {
        post(&technician, reading(&unit, days, change)).await["flags"].clone()
    };
    let backwards = json!(["suspect", "hours run backwards"]);
    assert_eq!(flags(20, json!({"run_hours": 100})).await, json!([]));
    // An inspection's hours are hours, too.
    let inspection = json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(15), "readings": [], "run_hours": 110});
    technician
        .post("/v1/inspections", &inspection)
        .await
        .expect(201);
    assert_eq!(flags(10, json!({"run_hours": 109})).await, backwards);
    assert_eq!(flags(18, json!({"run_hours": 111})).await, backwards);
    assert_eq!(flags(18, json!({"run_hours": 105})).await, json!([]));
    // An estimate that was too high proves nothing against the meter; one that is too low is wrong.
    assert_eq!(
        flags(9, json!({"run_hours": 150, "estimated": true})).await,
        json!([])
    );
    assert_eq!(flags(8, json!({"run_hours": 120})).await, json!([]));
    assert_eq!(
        flags(7, json!({"run_hours": 119, "estimated": true})).await,
        backwards
    );
    assert_eq!(flags(0, json!({"started": true})).await, json!([]));
    let ahead = |minutes: i64| {
        (jiff::Timestamp::now() + jiff::SignedDuration::from_mins(minutes)).to_string()
    };
    assert_eq!(
        flags(0, json!({"started": true, "read_at": ahead(60)})).await,
        json!(["suspect", "in the future"])
    );
    assert_eq!(
        flags(0, json!({"started": true, "read_at": ahead(2)})).await,
        json!([])
    );
    assert_eq!(
        flags(
            0,
            json!({"started": true, "read_at": "2020-01-01T00:00:00Z"})
        )
        .await,
        json!(["suspect", "before the machine was acquired"])
    );
    // What is corrected no longer counts against anything.
    let typo = post(&technician, reading(&unit, 6, json!({"run_hours": 152}))).await;
    assert_eq!(typo["flags"], json!([]));
    assert_eq!(
        post(
            &technician,
            reading(&unit, 6, json!({"run_hours": 125, "corrects": typo["id"]}))
        )
        .await["flags"],
        json!([])
    );
    assert_eq!(flags(5, json!({"run_hours": 126})).await, json!([]));
}

/// A meter that is replaced begins anew without contradicting the old one; of a slip it is the slip that is doubted, once
/// two readings after it agree.
#[tokio::test]
async fn a_new_meter_and_a_slip_do_not_stop_the_hours() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let flags = async |days: i64, change: Value| {
        post(&technician, reading(&unit, days, change)).await["flags"].clone()
    };
    let backwards = json!(["suspect", "hours run backwards"]);
    assert_eq!(flags(30, json!({"run_hours": 100})).await, json!([]));
    assert_eq!(flags(25, json!({"run_hours": 220})).await, json!([]));
    assert_eq!(flags(20, json!({"run_hours": 120})).await, backwards);
    assert_eq!(flags(18, json!({"run_hours": 121})).await, json!([]));
    assert_eq!(flags(16, json!({"run_hours": 122})).await, json!([]));
    let new = json!({"run_hours": 0.5, "meter_replaced": true});
    assert_eq!(flags(10, new).await, json!([]));
    assert_eq!(flags(9, json!({"run_hours": 3})).await, json!([]));
    assert_eq!(flags(8, json!({"run_hours": 2})).await, backwards);
    // More than there was time for, and two of them prove nothing against two that agree.
    let ahead = json!(["suspect", "more hours than have passed"]);
    assert_eq!(flags(7, json!({"run_hours": 9999})).await, ahead);
    assert_eq!(flags(6, json!({"run_hours": 9999.5})).await, ahead);
    assert_eq!(flags(5, json!({"run_hours": 4})).await, json!([]));
    // Of the old meter, though it arrives late.
    assert_eq!(flags(15, json!({"run_hours": 123})).await, json!([]));
}

#[tokio::test]
async fn every_value_that_no_reading_can_have_is_named() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let operator = server.operator().await;
    let foreign = Fleet::of(&server, "theirs").await.unit;
    let far = Fleet::of(&server, "Far").await.unit;
    let unknown = Uuid::now_v7();
    let mine = post(&operator, reading(&unit, 1, json!({"run_hours": 1}))).await;
    let elsewhere = post(
        &server.administrator().await,
        reading(&far, 1, json!({"run_hours": 1})),
    )
    .await;
    let second = Fleet::of(&server, "Home").await.unit;
    let cases = [
        (json!({"unit_id": unknown}), "unit_id"),
        (json!({"unit_id": foreign}), "unit_id"),
        (json!({"unit_id": far}), "unit_id"),
        (json!({"unit_id": 7}), "unit_id"),
        (json!({"read_at": "noon"}), "read_at"),
        (json!({"read_at": "1800-01-01T00:00:00Z"}), "read_at"),
        (json!({"run_hours": -0.1}), "run_hours"),
        (json!({"run_hours": 100_000.5}), "run_hours"),
        (json!({"run_hours": null}), "run_hours"),
        (json!({"run_hours": "5 h"}), "run_hours"),
        (
            json!({"run_hours": null, "started": true, "estimated": true}),
            "estimated",
        ),
        (json!({"estimated": "yes"}), "estimated"),
        (
            json!({"run_hours": null, "started": true, "meter_replaced": true}),
            "meter_replaced",
        ),
        (
            json!({"estimated": true, "meter_replaced": true}),
            "meter_replaced",
        ),
        (json!({"meter_replaced": "yes"}), "meter_replaced"),
        (json!({"started": 1}), "started"),
        (json!({"note": "x".repeat(2_001)}), "note"),
        (json!({"note": "\u{0}"}), "note"),
        (json!({"id": "x"}), "id"),
        (json!({"id": mine["id"], "unit_id": unknown}), "unit_id"),
        (json!({"corrects": unknown}), "corrects"),
        (json!({"corrects": elsewhere["id"]}), "corrects"),
        (
            json!({"corrects": mine["id"], "unit_id": second}),
            "corrects",
        ),
        (json!({"colour": "red"}), "colour"),
    ];
    for (change, field) in cases {
        let mut body = reading(&unit, 0, json!({"run_hours": 5}));
        body.as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        assert_eq!(
            operator
                .post("/v1/meter-readings", &body)
                .await
                .problem(422),
            [field],
            "{change}"
        );
    }
    for field in ["unit_id", "read_at"] {
        let mut body = reading(&unit, 0, json!({"run_hours": 5}));
        body.as_object_mut().unwrap().remove(field);
        assert_eq!(
            operator
                .post("/v1/meter-readings", &body)
                .await
                .problem(422),
            [field]
        );
    }
    let again = reading(&unit, 0, json!({"run_hours": 5, "id": mine["id"]}));
    assert_eq!(
        operator
            .post("/v1/meter-readings", &again)
            .await
            .problem(409),
        ["id"]
    );
    let listed = operator.get("/v1/meter-readings").await.expect(200).json();
    assert_eq!(
        listed["items"].as_array().unwrap().len(),
        1,
        "nothing was stored"
    );
    operator
        .get(&format!(
            "/v1/meter-readings/{}",
            elsewhere["id"].as_str().unwrap()
        ))
        .await
        .problem(404);
    assert_eq!(
        operator.get("/v1/meter-readings?kind=x").await.problem(400),
        ["kind"]
    );
}

#[tokio::test]
async fn who_may_record_and_once() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let body = reading(&unit, 1, json!({"started": true}));
    let district = server.district_manager().await;
    district
        .post("/v1/meter-readings", &body)
        .await
        .problem(403);
    for actor in [
        server.depot_system().await,
        server.technician().await,
        server.depot_lead().await,
        server.administrator().await,
    ] {
        post(&actor, body.clone()).await;
    }
    let operator = server.operator().await;
    let send = || {
        Answer::of(
            operator
                .request(Method::POST, "/v1/meter-readings")
                .header("Idempotency-Key", "morning")
                .json(&body),
        )
    };
    assert_eq!(send().await.expect(201).body, send().await.expect(201).body);
    let listed = operator
        .get(&format!(
            "/v1/meter-readings?depot_id={}",
            server.world.ours.home.id
        ))
        .await
        .expect(200)
        .json();
    assert_eq!(listed["items"].as_array().unwrap().len(), 5);
}
