//! /v1/holds and /v1/units/{unit_id}/holds. What an inspection hangs and proves is in `inspections`.

use rimeyard_harness::TestServer;
use rimeyard_harness::machines::sound_readings;
use rimeyard_rules::sheet::{Effect, two_stage_thrower};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, days_ago, fleet};

#[tokio::test]
async fn a_person_hangs_a_tag_and_an_inspection_after_the_repair_lifts_it() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let (operator, technician) = (server.operator().await, server.technician().await);
    let place = format!("/v1/units/{unit}/holds");
    let answer = operator
        .post(&place, &json!({"reason": "smells of fuel"}))
        .await
        .expect(201);
    let hold = answer.json();
    let path = format!("/v1/holds/{}", answer.id());
    assert_eq!(
        (answer.header("location"), answer.etag()),
        (path.as_str(), "\"1\"".to_owned())
    );
    assert_eq!(
        (&hold["reason"], &hold["finding_id"], &hold["lifted_at"]),
        (&json!("smells of fuel"), &Value::Null, &Value::Null)
    );
    assert_eq!(operator.get(&path).await.expect(200).json(), hold);

    let lift = format!("{path}/lift");
    let inspect = async |kind: &str, readings: Value| {
        let body = json!({"unit_id": unit, "kind": kind, "performed_at": days_ago(0), "readings": readings});
        technician
            .post("/v1/inspections", &body)
            .await
            .expect(201)
            .id()
    };
    let by = async |inspection: &str| {
        technician
            .post(&lift, &json!({"inspection_id": inspection}))
            .await
    };
    let looked = inspect("in_season", json!([])).await;
    assert_eq!(
        by(&looked).await.problem(422),
        ["inspection_id"],
        "not after a repair"
    );
    let empty = inspect("after_repair", json!([])).await;
    assert_eq!(
        by(&empty).await.problem(422),
        ["inspection_id"],
        "nothing was looked at"
    );
    let failed = inspect(
        "after_repair",
        json!([{"check": "stop_switch", "works": false}]),
    )
    .await;
    assert_eq!(
        by(&failed).await.problem(422),
        ["inspection_id"],
        "a safety check fails"
    );
    operator
        .post(&lift, &json!({"inspection_id": failed}))
        .await
        .problem(403);
    for (body, field) in [
        (json!({}), "inspection_id"),
        (json!({"inspection_id": null}), "inspection_id"),
        (json!({"inspection_id": "mine"}), "inspection_id"),
        (json!({"inspection_id": Uuid::now_v7()}), "inspection_id"),
        (json!({"inspection_id": failed, "colour": "red"}), "colour"),
    ] {
        assert_eq!(
            technician.post(&lift, &body).await.problem(422),
            [field],
            "{body}"
        );
    }
    // Every safety check but one.
    let safe = || {
        let sheet = two_stage_thrower();
        let safety = sheet.checks.iter().zip(sound_readings(&sheet));
        let safety = safety.filter(|(check, _)| check.effect == Effect::Hold);
        safety.map(|(_, reading)| reading).collect::<Vec<_>>()
    };
    let most = inspect("after_repair", json!(safe()[1..])).await;
    let refused = by(&most).await;
    let left_out = safe()[0]["check"].as_str().unwrap().to_owned();
    assert!(refused.body.contains(&left_out), "{}", refused.body);
    assert_eq!(refused.problem(422), ["inspection_id"]);
    // Unserviceable, and no matter of safety.
    let mut readings = safe();
    readings.push(json!({"check": "lamp", "works": false}));
    let repaired = inspect("after_repair", json!(readings)).await;
    let lifted = by(&repaired).await.expect(200).json();
    assert_eq!(
        (&lifted["lifted_inspection"], &lifted["rev"]),
        (&json!(repaired), &json!(2))
    );
    assert!(lifted["lifted_at"].is_string() && lifted["lifted_by"].is_string());
    by(&repaired).await.problem(409);
    let listed = async |query: &str| {
        let page = operator
            .get(&format!("/v1/holds?{query}"))
            .await
            .expect(200)
            .json();
        page["items"].as_array().unwrap().len()
    };
    // The stop switch's own tag hangs on.
    assert_eq!(
        (listed("open=true").await, listed("open=false").await),
        (1, 1)
    );
    assert_eq!(listed(&format!("unit_id={unit}")).await, 2);
    assert_eq!(
        listed(&format!("depot_id={}", server.world.ours.home.id)).await,
        2
    );
    assert_eq!(
        listed(&format!("depot_id={}", server.world.ours.far.id)).await,
        0
    );
    assert_eq!(
        operator.get("/v1/holds?open=perhaps").await.problem(400),
        ["open"]
    );
}

#[tokio::test]
async fn every_value_that_no_tag_can_have_is_named() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let operator = server.operator().await;
    let place = format!("/v1/units/{unit}/holds");
    for (body, field) in [
        (json!({}), "reason"),
        (json!({"reason": ""}), "reason"),
        (json!({"reason": " "}), "reason"),
        (json!({"reason": "x".repeat(501)}), "reason"),
        (json!({"reason": "nul\u{0}"}), "reason"),
        (json!({"reason": "two\nlines"}), "reason"),
        (json!({"reason": 5}), "reason"),
        (json!({"reason": "x", "id": "y"}), "id"),
        (json!({"reason": "x", "until": "tomorrow"}), "until"),
    ] {
        assert_eq!(
            operator.post(&place, &body).await.problem(422),
            [field],
            "{body}"
        );
    }
    assert_eq!(
        operator.get("/v1/holds").await.json()["items"],
        json!([]),
        "nothing was stored"
    );
    let good = json!({"reason": "smells of fuel"});
    let far = Fleet::of(&server, "Far").await.unit;
    let foreign = Fleet::of(&server, "theirs").await.unit;
    let absent = operator
        .post(&format!("/v1/units/{}/holds", Uuid::now_v7()), &good)
        .await;
    absent.problem(404);
    for hidden in [far, foreign] {
        let answer = operator
            .post(&format!("/v1/units/{hidden}/holds"), &good)
            .await;
        assert_eq!((answer.status, &answer.body), (404, &absent.body));
    }
    server
        .depot_system()
        .await
        .post(&place, &good)
        .await
        .problem(403);
    for actor in [
        server.district_manager().await,
        server.depot_lead().await,
        server.technician().await,
    ] {
        actor.post(&place, &good).await.expect(201);
    }
}
