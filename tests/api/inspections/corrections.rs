//! What is sent again, or put right later.

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{auger_stops, hanging, inspection, items, open_findings, post, skid, with};
use crate::api::fleet::{Fleet, fleet, owner};

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
