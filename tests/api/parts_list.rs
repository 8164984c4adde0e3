//! /v1/parts

use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::fleet::{audited, days_ago, entry, feed_is_sound, items, posted};

fn belt() -> Value {
    json!({
        "number": "AB-1", "name": "auger belt", "title": "V-belt, auger, 4L by 37 in", "unit": "each", "pack_size": 2,
        "lead_time_days": 14, "price": {"amount_minor": 2450, "currency": "USD"}, "shelf_life_days": 2191,
    })
}

#[tokio::test]
async fn a_part_is_listed_found_by_name_and_changed_and_everyone_gets_it() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let created = technician.post("/v1/parts", &belt()).await.expect(201);
    let (id, etag) = (created.id(), created.etag());
    let path = format!("/v1/parts/{id}");
    assert_eq!(created.header("location"), path);
    assert_eq!(created.json()["kit"], Value::Null);
    let plain = json!({"number": "SP-1", "name": "spark plug", "lead_time_days": 0});
    let plug = technician
        .post("/v1/parts", &plain)
        .await
        .expect(201)
        .json();
    assert_eq!(
        (&plug["title"], &plug["unit"], &plug["pack_size"]),
        (&json!("spark plug"), &json!("each"), &json!(1))
    );
    let system = server.depot_system().await;
    assert_eq!(items(&system, "/v1/parts?limit=1").await.len(), 1);
    let named = items(&system, "/v1/parts?name=Auger%20BELT").await;
    assert_eq!((named.len(), &named[0]["id"]), (1, &json!(id)));
    assert_eq!(items(&system, "/v1/parts?number=SP-1").await.len(), 1);

    let change = json!({"lead_time_days": 21, "price": null});
    let changed = technician.patch(&path, &etag, &change).await.expect(200);
    assert_eq!(changed.json()["price"], Value::Null);
    technician.patch(&path, &etag, &change).await.problem(412);
    let organisation = server.world.ours.org_id;
    let entry = entry(&server, organisation, "part", &id).await;
    assert_eq!((&entry.doc, entry.rev), (&changed.json(), 2));
    let actions: Vec<String> = audited(&server, &id)
        .await
        .into_iter()
        .map(|(action, _)| action)
        .collect();
    assert_eq!(actions, ["create", "update"]);
    feed_is_sound(&server).await;
    // Another organisation has neither the part nor its number.
    let foreign = server.foreign_administrator().await;
    assert_eq!(items(&foreign, "/v1/parts").await.len(), 0);
    posted(&foreign, "/v1/parts", &belt()).await;
}

#[tokio::test]
async fn a_kit_has_parts_and_no_kit() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let belt = posted(&lead, "/v1/parts", &belt()).await;
    let plug = json!({"number": "SP-1", "name": "spark plug", "lead_time_days": 0});
    let plug = posted(&lead, "/v1/parts", &plug).await;
    let kit = |contents: Value| json!({"number": "KIT-1", "name": "season kit", "lead_time_days": 30, "kit": contents});
    let of = |id: &str, quantity: i64| json!({"part_id": id, "quantity": quantity});
    let season = posted(
        &lead,
        "/v1/parts",
        &kit(json!([of(&belt, 2), of(&plug, 1)])),
    )
    .await;

    let mut bigger = kit(json!([of(&season, 1)]));
    (bigger["number"], bigger["name"]) = (json!("KIT-2"), json!("bigger kit"));
    assert_eq!(
        lead.post("/v1/parts", &bigger).await.problem(422),
        ["kit[0].part_id"]
    );
    let change = json!({"kit": [of(&plug, 1)]});
    assert_eq!(
        lead.patch(&format!("/v1/parts/{belt}"), "\"1\"", &change)
            .await
            .problem(409),
        ["kit"]
    );
    // What is on a shelf is no kit: its contents would be.
    let lamp = json!({"number": "L-1", "name": "lamp", "lead_time_days": 0});
    let lamp = posted(&lead, "/v1/parts", &lamp).await;
    let home = server.world.ours.home.id;
    let received =
        json!({"move": "received", "part_id": lamp, "quantity": 1, "happened_at": days_ago(0)});
    lead.post(&format!("/v1/depots/{home}/stock/moves"), &received)
        .await
        .expect(201);
    let path = format!("/v1/parts/{lamp}");
    assert_eq!(
        lead.patch(&path, "\"1\"", &change).await.problem(409),
        ["kit"]
    );
}

#[tokio::test]
async fn what_no_part_can_be_is_named_and_nothing_is_listed() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let id = posted(&lead, "/v1/parts", &belt()).await;
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let long = "x".repeat(201);
    let too_many: Vec<Value> = (0..101)
        .map(|_| json!({"part_id": uuid::Uuid::now_v7(), "quantity": 1}))
        .collect();
    for (field, value, named) in [
        ("number", json!(""), "number"),
        ("number", json!("A\u{0}B"), "number"),
        ("number", json!("x".repeat(61)), "number"),
        ("name", json!(long), "name"),
        ("name", json!("  "), "name"),
        ("title", json!("two\nlines"), "title"),
        ("unit", json!("u".repeat(21)), "unit"),
        ("pack_size", json!(0), "pack_size"),
        ("pack_size", json!(1.5), "pack_size"),
        ("pack_size", json!(1_000_001), "pack_size"),
        ("lead_time_days", json!(-1), "lead_time_days"),
        ("lead_time_days", json!(1_001), "lead_time_days"),
        ("lead_time_days", json!(1e300), "lead_time_days"),
        ("shelf_life_days", json!(0), "shelf_life_days"),
        (
            "price",
            json!({"amount_minor": -1, "currency": "USD"}),
            "price.amount_minor",
        ),
        (
            "price",
            json!({"amount_minor": 1, "currency": "usd"}),
            "price.currency",
        ),
        ("price", json!({"amount_minor": 1}), "price.currency"),
        ("kit", json!([]), "kit"),
        ("kit", json!(too_many), "kit"),
        (
            "kit",
            json!([{"part_id": absent, "quantity": 1}]),
            "kit[0].part_id",
        ),
        (
            "kit",
            json!([{"part_id": id, "quantity": 0}]),
            "kit[0].quantity",
        ),
        (
            "kit",
            json!([{"part_id": id, "quantity": 1}, {"part_id": id, "quantity": 1}]),
            "kit[1].part_id",
        ),
        ("colour", json!("red"), "colour"),
        ("id", json!("6ba7b810-9dad-41d1-80b4-00c04fd430c8"), "id"),
    ] {
        let mut new = belt();
        (new["number"], new["name"]) = (json!("NEW"), json!("new"));
        new[field] = value;
        assert_eq!(
            lead.post("/v1/parts", &new).await.problem(422),
            [named],
            "{new}"
        );
    }
    let mut taken = belt();
    taken["name"] = json!("another");
    assert_eq!(
        lead.post("/v1/parts", &taken).await.problem(409),
        ["number"]
    );
    (taken["number"], taken["name"]) = (json!("AB-2"), json!("AUGER belt"));
    assert_eq!(lead.post("/v1/parts", &taken).await.problem(409), ["name"]);
    for query in ["limit=0", "cursor=x", "name=%00", "colour=red"] {
        let field = query.split('=').next().unwrap();
        let path = format!("/v1/parts?{query}");
        assert_eq!(lead.get(&path).await.problem(400), [field]);
    }
    assert_eq!(items(&lead, "/v1/parts").await.len(), 1);
    let operator = server.operator().await;
    operator.post("/v1/parts", &belt()).await.problem(403);
}
