//! /v1/units/{unit_id}/parts

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, audited, days_ago, entry, feed_is_sound, fleet, marks, posted};
use super::refusals::{every_page, post_refuses, with};

async fn belts(actor: &Actor, unit: &str, filter: &str) -> Vec<Value> {
    let path = format!("/v1/units/{unit}/parts?part=auger_belt{filter}");
    let page = actor.get(&path).await.expect(200).json();
    page["items"].as_array().unwrap().clone()
}

#[tokio::test]
async fn a_fitting_ends_one_path_of_wear_and_begins_the_next() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let technician = server.technician().await;
    let home = server.world.ours.home;
    let delivered = belts(&technician, &unit, "").await;
    assert_eq!(delivered.len(), 1);
    let marked = marks(&server, &home).await;

    let new = json!({
        "part": "auger_belt", "how": "renewed", "fitted_at": "2024-01-10T14:30:00Z", "fitted_hours": 212.5,
        "failed": true,
    });
    let path = format!("/v1/units/{unit}/parts");
    let fitted = technician.post(&path, &new).await.expect(201);
    assert_eq!(fitted.header("location"), format!("{path}/{}", fitted.id()));
    let expected = json!({
        "id": fitted.id(), "unit_id": unit, "part": "auger_belt", "how": "renewed",
        "fitted_at": "2024-01-10T14:30:00Z", "fitted_hours": 212.5, "removed_at": null, "removed_hours": null,
        "failed": null, "inspection_id": null, "rev": 1,
    });
    assert_eq!(
        (fitted.json(), fitted.etag()),
        (expected, "\"1\"".to_owned())
    );
    let ended = technician
        .get(&format!("{path}/{}", delivered[0]["id"].as_str().unwrap()))
        .await
        .expect(200);
    let change = json!({
        "removed_at": "2024-01-10T14:30:00Z", "removed_hours": 212.5, "failed": true, "rev": 2,
    });
    assert_eq!(ended.json(), with(&delivered[0], &change));
    assert_eq!(ended.etag(), "\"2\"");
    assert_eq!(marks(&server, &home).await, marked + 1);

    let turned =
        json!({"part": "auger_belt", "how": "adjusted", "fitted_at": "2024-02-01T08:00:00Z"});
    posted(&technician, &path, &turned).await;
    let all = belts(&technician, &unit, "").await;
    let hows: Vec<&Value> = all.iter().map(|belt| &belt["how"]).collect();
    assert_eq!(hows, ["as delivered", "renewed", "adjusted"]);
    let now = belts(&technician, &unit, "&fitted=true").await;
    assert_eq!((now.len(), &now[0]), (1, &all[2]));
    assert_eq!(belts(&technician, &unit, "&fitted=false").await, all[..2]);
    // Whether the last belt had failed nobody said.
    assert_eq!(all[1]["failed"], Value::Null);

    for belt in &all {
        let id = belt["id"].as_str().unwrap();
        let published = entry(&server, home.id, "fitted-part", id).await;
        assert_eq!((&published.doc, published.deleted), (belt, false));
    }
    let audited = audited(&server, &fitted.id()).await;
    assert_eq!(audited[0].0, "fit");
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn every_part_is_on_one_page_and_on_one_page_only() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let operator = server.operator().await;
    let path = format!("/v1/units/{unit}/parts");
    let whole = every_page(&operator, &path, 200, "id").await;
    assert!(whole.len() > 10);
    assert_eq!(every_page(&operator, &path, 3, "id").await, whole);
    for (wrong, parameter) in [
        ("fitted=maybe", "fitted"),
        ("how=turned", "how"),
        ("part=%00", "part"),
        ("limit=0", "limit"),
    ] {
        let answer = operator.get(&format!("{path}?{wrong}")).await;
        assert_eq!(answer.problem(400), [parameter]);
    }
    // A part is found only under the unit it is fitted to.
    let other = Fleet::of(&server, "Home").await.unit;
    operator
        .get(&format!("/v1/units/{other}/parts/{}", whole[0]))
        .await
        .problem(404);
}

#[tokio::test]
async fn what_no_fitting_can_be_is_named() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let technician = server.technician().await;
    let path = format!("/v1/units/{unit}/parts");
    let whole = every_page(&technician, &path, 200, "id").await;
    let good = json!({"part": "auger_belt", "how": "renewed", "fitted_at": days_ago(1)});
    let cases = [
        (json!({"part": "wing mirror"}), "part"),
        (json!({"part": ""}), "part"),
        (json!({"part": "a\0b"}), "part"),
        (json!({"part": null}), "part"),
        (json!({"how": "as delivered"}), "how"),
        (json!({"how": "glued"}), "how"),
        (json!({"how": null}), "how"),
        (json!({"how": {}}), "how"),
        (json!({"how": "turned", "failed": false}), "failed"),
        (json!({"failed": "yes"}), "failed"),
        (json!({"fitted_hours": -1}), "fitted_hours"),
        (json!({"fitted_hours": 100_001}), "fitted_hours"),
        (json!({"fitted_hours": "many"}), "fitted_hours"),
        (json!({"fitted_at": days_ago(-1)}), "fitted_at"),
        (json!({"fitted_at": "2024-01-10"}), "fitted_at"),
        (json!({"fitted_at": "-009000-01-01T00:00:00Z"}), "fitted_at"),
        (json!({"fitted_at": 5}), "fitted_at"),
        (json!({"id": "7a0c8d0e-6f55-4e7a-8a53-000000000000"}), "id"),
        (json!({"removed_at": days_ago(1)}), "removed_at"),
    ];
    let required = ["part", "how", "fitted_at"];
    post_refuses(&technician, &path, &good, &required, &cases).await;
    // Before the machine was there: the day it was acquired its belt was fitted.
    let early = with(&good, &json!({"fitted_at": "2019-01-01T00:00:00Z"}));
    let answer = technician.post(&path, &early).await;
    assert_eq!(answer.problem(409), ["fitted_at"]);
    let taken = with(&good, &json!({"id": whole[0]}));
    assert_eq!(technician.post(&path, &taken).await.problem(409), ["id"]);
    let nowhere = format!("/v1/units/{}/parts", Uuid::now_v7());
    technician.post(&nowhere, &good).await.problem(404);
    assert_eq!(every_page(&technician, &path, 200, "id").await, whole);
}

#[tokio::test]
async fn two_fittings_at_the_same_moment_follow_each_other() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let technician = server.technician().await;
    let path = format!("/v1/units/{unit}/parts");
    let new = json!({"part": "auger_belt", "how": "renewed", "fitted_at": days_ago(1)});
    let answers = futures::future::join_all((0..5).map(|_| technician.post(&path, &new))).await;
    for answer in answers {
        answer.expect(201);
    }
    assert_eq!(belts(&technician, &unit, "").await.len(), 6);
    assert_eq!(belts(&technician, &unit, "&fitted=true").await.len(), 1);
    let send = || {
        let request = technician
            .request(Method::POST, &path)
            .header("Idempotency-Key", "belt")
            .json(&new);
        Answer::of(request)
    };
    let first = send().await.expect(201);
    assert_eq!(send().await.expect(201).body, first.body);
    assert_eq!(belts(&technician, &unit, "").await.len(), 7);
    feed_is_sound(&server).await;
}
