//! /v1/storms

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{days_ago, owner};

fn with(mut body: Value, change: Value) -> Value {
    body.as_object_mut()
        .unwrap()
        .extend(change.as_object().unwrap().clone());
    body
}

fn storm(depots: &[Uuid]) -> Value {
    json!({
        "name": "First of the year", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 250.0,
        "reclear_mm": 50.0, "density_kg_m3": null, "temperature_c": -6.0, "low_c": -18.0, "depots": depots,
    })
}

/// The version that an ETag names, before what it says of the content.
fn version(answer: &Answer) -> u64 {
    let etag = answer.etag();
    let (rev, content) = etag.trim_matches('"').split_once('-').unwrap();
    assert_eq!(content.len(), 24, "{etag}");
    rev.parse().unwrap()
}

#[tokio::test]
async fn who_may_see_less_of_a_storm_has_another_etag() {
    let server = TestServer::start().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let manager = server.district_manager().await;
    let entered = manager
        .post("/v1/storms", &storm(&[home, far]))
        .await
        .expect(201);
    let path = format!("/v1/storms/{}", entered.id());
    let seen = server.technician().await.get(&path).await.expect(200);
    assert_eq!(seen.json()["depots"], json!([home]));
    assert_ne!(seen.etag(), entered.etag());
    let known = async |etag: String| {
        let request = manager.request(Method::GET, &path);
        Answer::of(request.header("If-None-Match", etag))
            .await
            .status
    };
    assert_eq!(known(seen.etag()).await, 200, "what another was shown");
    assert_eq!(known(entered.etag()).await, 304);
    // RFC 9110, 13.1.2: compared weakly.
    assert_eq!(known(format!("\"x\", W/{}", entered.etag())).await, 304);
    // Either names the version; what is changed is the storm and not what is seen of it.
    manager
        .patch(&path, &seen.etag(), &json!({"depth_mm": 300}))
        .await
        .expect(200);
}

#[tokio::test]
async fn a_storm_is_entered_found_changed_and_called_off() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let entered = lead
        .post("/v1/storms", &storm(&[home, home]))
        .await
        .expect(201);
    let path = format!("/v1/storms/{}", entered.id());
    assert_eq!(
        (entered.header("location"), version(&entered)),
        (path.as_str(), 1)
    );
    assert_eq!(
        (&entered.json()["depots"], &entered.json()["cancelled_at"]),
        (&json!([home]), &Value::Null)
    );
    assert_eq!(lead.get(&path).await.expect(200).json(), entered.json());

    let changed = lead
        .patch(&path, "\"1\"", &json!({"depth_mm": 300, "low_c": null}))
        .await
        .expect(200);
    let expected = with(
        entered.json(),
        json!({"depth_mm": 300.0, "low_c": null, "rev": 2}),
    );
    assert_eq!((changed.json(), version(&changed)), (expected, 2));
    lead.patch(&path, "\"1\"", &json!({"depth_mm": 310}))
        .await
        .problem(412);
    Answer::of(
        lead.request(Method::PATCH, &path)
            .json(&json!({"depth_mm": 310})),
    )
    .await
    .problem(428);
    let off = lead
        .patch(&path, "\"2\"", &json!({"cancelled": true}))
        .await
        .expect(200);
    assert!(off.json()["cancelled_at"].is_string());
    lead.patch(&path, "\"3\"", &json!({"cancelled": false}))
        .await
        .problem(409);
    lead.patch(&path, "\"3\"", &json!({"depth_mm": 310}))
        .await
        .problem(409);
    assert_eq!(lead.get(&path).await.expect(200).json(), off.json());
}

#[tokio::test]
async fn a_storm_stands_in_the_feed_of_each_depot_it_touches_and_no_longer_of_one_it_does_not() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let (org_id, home, far) = (
        server.world.ours.org_id,
        server.world.ours.home.id,
        server.world.ours.far.id,
    );
    let owner = owner(&server).await;
    let gens = async || -> Vec<i64> {
        let mut gens = Vec::new();
        for depot in [home, far] {
            let row = owner
                .query_one(
                    "select gen from mark where org_id = $1 and depot_id = $2",
                    &[&org_id, &depot],
                )
                .await
                .unwrap();
            gens.push(row.get(0));
        }
        gens
    };
    let before = gens().await;
    let entered = manager
        .post("/v1/storms", &storm(&[home, far]))
        .await
        .expect(201);
    let id: Uuid = entered.id().parse().unwrap();
    let entry = async |depot: Uuid| -> (bool, Value) {
        let sql = "select deleted, doc from feed_entry where org_id = $1 and scope_id = $2 and kind = 'storm' and object_id = $3";
        let row = owner.query_one(sql, &[&org_id, &depot, &id]).await.unwrap();
        (row.get(0), serde_json::from_str(row.get(1)).unwrap())
    };
    for depot in [home, far] {
        let there = with(entered.json(), json!({"depots": [depot]}));
        assert_eq!(entry(depot).await, (false, there), "naming that depot only");
    }
    let path = format!("/v1/storms/{id}");
    manager
        .patch(&path, "\"1\"", &json!({"depots": [far]}))
        .await
        .expect(200);
    assert_eq!(entry(home).await, (true, json!({})));
    assert_eq!(entry(far).await.1["rev"], 2);
    assert_eq!(gens().await, [before[0] + 2, before[1] + 2]);
    server.depot_lead().await.get(&path).await.problem(404);
    manager
        .patch(&path, "\"2\"", &json!({"depots": [home, far]}))
        .await
        .expect(200);
    assert!(!entry(home).await.0);
}

#[tokio::test]
async fn a_reader_sees_the_storms_and_the_depots_they_may_see() {
    let server = TestServer::start().await;
    let (manager, lead) = (server.district_manager().await, server.depot_lead().await);
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let both = manager
        .post("/v1/storms", &storm(&[home, far]))
        .await
        .expect(201)
        .id();
    let elsewhere = manager
        .post("/v1/storms", &storm(&[far]))
        .await
        .expect(201)
        .id();
    let earlier = with(
        storm(&[home]),
        json!({"starts_at": days_ago(5), "ends_at": days_ago(4)}),
    );
    let earlier = manager.post("/v1/storms", &earlier).await.expect(201).id();
    let path = format!("/v1/storms/{both}");
    assert_eq!(
        lead.get(&path).await.expect(200).json()["depots"],
        json!([home])
    );
    let mut all = [home, far];
    all.sort();
    assert_eq!(
        manager.get(&path).await.expect(200).json()["depots"],
        json!(all)
    );
    lead.get(&format!("/v1/storms/{elsewhere}"))
        .await
        .problem(404);
    // It touches a depot that is somebody else's to answer for.
    lead.patch(&path, "\"1\"", &json!({"depth_mm": 10}))
        .await
        .problem(403);
    lead.patch(
        &format!("/v1/storms/{elsewhere}"),
        "\"1\"",
        &json!({"depth_mm": 10}),
    )
    .await
    .problem(404);

    let listed = async |query: &str| -> Vec<String> {
        let page = lead
            .get(&format!("/v1/storms{query}"))
            .await
            .expect(200)
            .json();
        page["items"]
            .as_array()
            .unwrap()
            .iter()
            .map(|storm| storm["id"].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(listed("").await, [both.clone(), earlier.clone()]);
    assert_eq!(
        listed(&format!("?depot_id={home}&from={}", days_ago(0))).await,
        std::slice::from_ref(&both)
    );
    assert_eq!(
        listed(&format!("?to={}", days_ago(0))).await,
        std::slice::from_ref(&earlier)
    );
    assert_eq!(listed(&format!("?depot_id={far}")).await, [""; 0]);
    let page = lead.get("/v1/storms?limit=1").await.expect(200).json();
    assert_eq!(
        listed(&format!(
            "?limit=1&cursor={}",
            page["next_cursor"].as_str().unwrap()
        ))
        .await,
        [earlier]
    );
    assert_eq!(lead.get("/v1/storms?until=x").await.problem(400), ["until"]);
    assert_eq!(
        server
            .foreign_administrator()
            .await
            .get("/v1/storms")
            .await
            .json()["items"],
        json!([])
    );
}

#[tokio::test]
async fn every_value_that_no_storm_can_have_is_named() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let (home, far, foreign) = (
        server.world.ours.home.id,
        server.world.ours.far.id,
        server.world.theirs.home.id,
    );
    let path = format!(
        "/v1/storms/{}",
        lead.post("/v1/storms", &storm(&[home]))
            .await
            .expect(201)
            .id()
    );
    let many: Vec<Uuid> = (0..501).map(|_| Uuid::now_v7()).collect();
    let cases = [
        (json!({"name": ""}), "name"),
        (json!({"name": "x".repeat(201)}), "name"),
        (json!({"name": "nul\u{0}"}), "name"),
        (json!({"name": null}), "name"),
        (json!({"starts_at": "soon"}), "starts_at"),
        (json!({"starts_at": "1800-01-01T00:00:00Z"}), "starts_at"),
        (json!({"ends_at": 7}), "ends_at"),
        (json!({"ends_at": days_ago(3)}), "ends_at"),
        (json!({"ends_at": days_ago(-30)}), "ends_at"),
        (json!({"depth_mm": 0}), "depth_mm"),
        (json!({"depth_mm": 5_001}), "depth_mm"),
        (json!({"depth_mm": "deep"}), "depth_mm"),
        (json!({"depth_mm": null}), "depth_mm"),
        (json!({"reclear_mm": -5}), "reclear_mm"),
        (json!({"density_kg_m3": 1_000}), "density_kg_m3"),
        (json!({"temperature_c": 50}), "temperature_c"),
        (json!({"low_c": -300}), "low_c"),
        (json!({"depots": []}), "depots"),
        (json!({"depots": null}), "depots"),
        (json!({"depots": many}), "depots"),
        (json!({"depots": [home, "here"]}), "depots[1]"),
        (json!({"depots": [home, far]}), "depots[1]"),
        (json!({"depots": [home, foreign]}), "depots[1]"),
        (json!({"depots": [Uuid::now_v7()]}), "depots[0]"),
        (json!({"colour": "red"}), "colour"),
    ];
    for (change, field) in cases {
        let new = with(storm(&[home]), change.clone());
        assert_eq!(
            lead.post("/v1/storms", &new).await.problem(422),
            [field],
            "POST {change}"
        );
        assert_eq!(
            lead.patch(&path, "\"1\"", &change).await.problem(422),
            [field],
            "PATCH {change}"
        );
    }
    for field in [
        "name",
        "starts_at",
        "ends_at",
        "depth_mm",
        "reclear_mm",
        "depots",
    ] {
        let mut new = storm(&[home]);
        new.as_object_mut().unwrap().remove(field);
        assert_eq!(lead.post("/v1/storms", &new).await.problem(422), [field]);
    }
    assert_eq!(
        lead.patch(&path, "\"1\"", &json!({"cancelled": "yes"}))
            .await
            .problem(422),
        ["cancelled"]
    );
    assert_eq!(
        lead.get("/v1/storms").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        1,
        "nothing was stored"
    );
    assert_eq!(version(&lead.get(&path).await), 1, "nothing was changed");
    for actor in [
        server.technician().await,
        server.operator().await,
        server.depot_system().await,
    ] {
        actor.post("/v1/storms", &storm(&[home])).await.problem(403);
        actor.get(&path).await.expect(200);
    }
}

#[tokio::test]
async fn a_storm_sent_twice_is_one() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let new = storm(&[server.world.ours.home.id]);
    let send = || {
        Answer::of(
            lead.request(Method::POST, "/v1/storms")
                .header("Idempotency-Key", "snow")
                .json(&new),
        )
    };
    assert_eq!(send().await.expect(201).body, send().await.expect(201).body);
    assert_eq!(
        lead.get("/v1/storms").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        1
    );
}
