//! /v1/depots/{depot_id}/labour

use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};

use super::fleet::{audited, entry, feed_is_sound, items, marks};

async fn person(administrator: &Actor, role: &str) -> String {
    let people = items(administrator, "/v1/people").await;
    let person = people.iter().find(|person| person["role"] == role).unwrap();
    person["id"].as_str().unwrap().to_owned()
}

fn hours(person: &str, from: &str, until: Value, minutes: i64) -> Value {
    json!({"person_id": person, "from": from, "until": until, "weekly_minutes": minutes})
}

#[tokio::test]
async fn hours_are_told_by_depot_and_are_no_more_than_a_week_has() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let roving = person(&administrator, "district manager").await;
    let technician = person(&administrator, "technician").await;
    let path = |depot: uuid::Uuid| format!("/v1/depots/{depot}/labour");
    let first = manager.get(&path(home.id)).await.expect(200);
    assert_eq!(
        first.json(),
        json!({"depot_id": home.id, "travel_minutes": 0, "technicians": [], "rev": 1})
    );
    let before = marks(&server, &home).await;
    let change = json!({"travel_minutes": 35, "technicians": [
        hours(&technician, "2026-09-01", Value::Null, 2400),
        hours(&roving, "2026-09-01", json!("2026-12-01"), 6000),
        hours(&roving, "2026-12-01", Value::Null, 600),
    ]});
    let changed = manager
        .patch(&path(home.id), &first.etag(), &change)
        .await
        .expect(200);
    assert_eq!(changed.json()["technicians"].as_array().unwrap().len(), 3);
    assert_eq!(marks(&server, &home).await, before + 1);
    let id = home.id.to_string();
    let entry = entry(&server, home.id, "labour", &id).await;
    assert_eq!((&entry.doc, entry.rev), (&changed.json(), 2));
    let (action, what) = audited(&server, &id).await.pop().unwrap();
    assert_eq!(
        (action.as_str(), &what["travel_minutes"]["to"]),
        ("update", &json!(35))
    );
    feed_is_sound(&server).await;
    manager
        .patch(&path(home.id), &first.etag(), &change)
        .await
        .problem(412);
    // 6,000 here and 4,081 there is a minute more than a week has; once the first end, it is not.
    let there = |from: &str| json!({"technicians": [hours(&roving, from, Value::Null, 4081)]});
    let answer = manager
        .patch(&path(far.id), "\"1\"", &there("2026-10-01"))
        .await;
    assert_eq!(answer.problem(422), ["technicians[0].weekly_minutes"]);
    assert!(
        answer.body.contains("10081 minutes a week"),
        "{}",
        answer.body
    );
    manager
        .patch(&path(far.id), "\"1\"", &there("2026-12-01"))
        .await
        .expect(200);
    // From the other side: what begins there later counts here.
    let etag = manager.get(&path(home.id)).await.etag();
    let more = json!({"technicians": [hours(&roving, "2026-09-01", Value::Null, 6000)]});
    assert_eq!(
        manager
            .patch(&path(home.id), &etag, &more)
            .await
            .problem(422),
        ["technicians[0].weekly_minutes"]
    );
    let kept = manager.get(&path(home.id)).await.expect(200);
    assert_eq!(kept.body, changed.body);
}

#[tokio::test]
async fn what_no_labour_can_be_is_named_and_nothing_is_changed() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/labour");
    let technician = person(&administrator, "technician").await;
    let system = person(&administrator, "depot system").await;
    let stranger = person(&server.foreign_administrator().await, "technician").await;
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let of = |person: &str, from: &str, until: Value, minutes: i64| json!({"technicians": [hours(person, from, until, minutes)]});
    let null = Value::Null;
    let twice = json!({"technicians": [
        hours(&technician, "2026-01-01", null.clone(), 60), hours(&technician, "2026-02-01", null.clone(), 60),
    ]});
    let many = json!({"technicians": vec![hours(&technician, "2026-01-01", null.clone(), 1); 201]});
    for (change, named) in [
        (json!({"travel_minutes": -1}), "travel_minutes"),
        (json!({"travel_minutes": 1441}), "travel_minutes"),
        (json!({"travel_minutes": 1.5}), "travel_minutes"),
        (json!({"travel_minutes": null}), "travel_minutes"),
        (
            of(absent, "2026-01-01", null.clone(), 60),
            "technicians[0].person_id",
        ),
        (
            of(&stranger, "2026-01-01", null.clone(), 60),
            "technicians[0].person_id",
        ),
        (
            of(&system, "2026-01-01", null.clone(), 60),
            "technicians[0].person_id",
        ),
        (
            of(&technician, "2026-01-01", null.clone(), -1),
            "technicians[0].weekly_minutes",
        ),
        (
            of(&technician, "2026-01-01", null.clone(), 10_081),
            "technicians[0].weekly_minutes",
        ),
        (
            of(&technician, "1999-01-01", null.clone(), 60),
            "technicians[0].from",
        ),
        (
            of(&technician, "2026-02-30", null.clone(), 60),
            "technicians[0].from",
        ),
        (
            of(&technician, "2026-01-02", json!("2026-01-02"), 60),
            "technicians[0].until",
        ),
        (twice, "technicians[1].from"),
        (many, "technicians"),
        (json!({"colour": 1}), "colour"),
    ] {
        assert_eq!(
            lead.patch(&path, "\"1\"", &change).await.problem(422),
            [named],
            "{change}"
        );
    }
    assert_eq!(lead.get(&path).await.expect(200).json()["rev"], 1);
    let change = json!({"travel_minutes": 5});
    server
        .technician()
        .await
        .patch(&path, "\"1\"", &change)
        .await
        .problem(403);
    let far = server.world.ours.far.id;
    lead.get(&format!("/v1/depots/{far}/labour"))
        .await
        .problem(404);
    let request = lead.request(reqwest::Method::PATCH, &path).json(&change);
    rimeyard_harness::Answer::of(request).await.problem(428);
}
