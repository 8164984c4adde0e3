//! /v1/limited-use and /v1/units/{unit_id}/limited-use

use rimeyard_harness::TestServer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, days_ago, fleet};

fn with(mut body: Value, change: Value) -> Value {
    body.as_object_mut()
        .unwrap()
        .extend(change.as_object().unwrap().clone());
    body
}

#[tokio::test]
async fn a_use_is_allowed_admitted_for_a_storm_and_ended() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let lead = server.depot_lead().await;
    let new = json!({"reason": "day only: lamp dark", "starts_at": days_ago(0), "ends_at": days_ago(-10)});
    let answer = lead
        .post(&format!("/v1/units/{unit}/limited-use"), &new)
        .await
        .expect(201);
    let path = format!("/v1/limited-use/{}", answer.id());
    assert_eq!(answer.header("location"), path);
    assert_eq!(lead.get(&path).await.expect(200).json(), answer.json());
    assert_eq!(answer.json()["admitted_storm"], Value::Null);

    let storm = async |change: Value| {
        let body = json!({
            "name": "A storm", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 200, "reclear_mm": 50,
            "depots": [server.world.ours.home.id],
        });
        server
            .district_manager()
            .await
            .post("/v1/storms", &with(body, change))
            .await
            .expect(201)
    };
    let coming = storm(json!({})).await.id();
    let elsewhere = storm(json!({"depots": [server.world.ours.far.id]}))
        .await
        .id();
    let over = storm(json!({"starts_at": days_ago(9), "ends_at": days_ago(8)}))
        .await
        .id();
    let after = storm(json!({"starts_at": days_ago(-12), "ends_at": days_ago(-13)}))
        .await
        .id();
    let called_off = storm(json!({})).await;
    let off_path = format!("/v1/storms/{}", called_off.id());
    lead.patch(&off_path, &called_off.etag(), &json!({"cancelled": true}))
        .await
        .expect(200);
    let both = storm(json!({"depots": [server.world.ours.home.id, server.world.ours.far.id]}))
        .await
        .id();
    let admit = format!("{path}/admit");
    for body in [
        json!({}),
        json!({"storm_id": null}),
        json!({"storm_id": 7}),
        json!({"storm_id": Uuid::now_v7()}),
        json!({"storm_id": elsewhere}),
        json!({"storm_id": over}),
        json!({"storm_id": after}),
        json!({"storm_id": called_off.id()}),
    ] {
        assert_eq!(
            lead.post(&admit, &body).await.problem(422),
            ["storm_id"],
            "{body}"
        );
    }
    let admitted = lead
        .post(&admit, &json!({"storm_id": coming}))
        .await
        .expect(200);
    assert_eq!(
        (&admitted.json()["admitted_storm"], admitted.etag()),
        (&json!(coming), "\"2\"".to_owned())
    );
    assert!(admitted.json()["admitted_by"].is_string());
    let moved_on = lead
        .post(&admit, &json!({"storm_id": both}))
        .await
        .expect(200)
        .json();
    assert_eq!(moved_on["admitted_storm"], json!(both));

    let listed = async |query: &str| {
        let page = lead
            .get(&format!("/v1/limited-use?{query}"))
            .await
            .expect(200)
            .json();
        page["items"].as_array().unwrap().len()
    };
    assert_eq!(
        (
            listed("open=true").await,
            listed("open=false").await,
            listed(&format!("unit_id={unit}")).await
        ),
        (1, 0, 1)
    );
    let ended = lead
        .post(&format!("{path}/end"), &json!({}))
        .await
        .expect(200)
        .json();
    assert!(ended["ended_at"].is_string());
    assert_eq!(
        (listed("open=true").await, listed("open=false").await),
        (0, 1)
    );
    lead.post(&format!("{path}/end"), &json!({}))
        .await
        .problem(409);
    lead.post(&admit, &json!({"storm_id": coming}))
        .await
        .problem(409);
    assert_eq!(
        lead.post(&format!("{path}/end"), &json!({"why": "x"}))
            .await
            .problem(422),
        ["why"]
    );
}

#[tokio::test]
async fn every_value_that_no_use_can_have_is_named_and_only_leads_allow_it() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let lead = server.depot_lead().await;
    let path = format!("/v1/units/{unit}/limited-use");
    let good = || json!({"reason": "paved only: skid gone", "starts_at": days_ago(0), "ends_at": days_ago(-10)});
    for (change, field) in [
        (json!({"reason": ""}), "reason"),
        (json!({"reason": "x".repeat(501)}), "reason"),
        (json!({"reason": "nul\u{0}"}), "reason"),
        (json!({"reason": null}), "reason"),
        (json!({"starts_at": "now"}), "starts_at"),
        (json!({"starts_at": "1800-01-01T00:00:00Z"}), "starts_at"),
        (json!({"ends_at": "never"}), "ends_at"),
        (json!({"ends_at": days_ago(1)}), "ends_at"),
        (
            json!({"starts_at": days_ago(3), "ends_at": days_ago(2)}),
            "ends_at",
        ),
        (json!({"ends_at": days_ago(-400)}), "ends_at"),
        (json!({"id": 7}), "id"),
        (json!({"named_by": Uuid::now_v7()}), "named_by"),
    ] {
        assert_eq!(
            lead.post(&path, &with(good(), change.clone()))
                .await
                .problem(422),
            [field],
            "{change}"
        );
    }
    assert_eq!(
        lead.get("/v1/limited-use").await.json()["items"],
        json!([]),
        "nothing was stored"
    );
    for actor in [
        server.technician().await,
        server.operator().await,
        server.depot_system().await,
    ] {
        actor.post(&path, &good()).await.problem(403);
    }
    let far = Fleet::of(&server, "Far").await.unit;
    let manager = server.district_manager().await;
    let hidden = manager
        .post(&format!("/v1/units/{far}/limited-use"), &good())
        .await
        .expect(201)
        .id();
    lead.post(&format!("/v1/units/{far}/limited-use"), &good())
        .await
        .problem(404);
    lead.get(&format!("/v1/limited-use/{hidden}"))
        .await
        .problem(404);
    lead.post(&format!("/v1/limited-use/{hidden}/end"), &json!({}))
        .await
        .problem(404);
    lead.post(
        &format!("/v1/limited-use/{hidden}/admit"),
        &json!({"storm_id": Uuid::now_v7()}),
    )
    .await
    .problem(404);
}
