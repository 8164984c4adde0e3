//! /v1/depots

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

/// A depot with everything said.
fn pine_pass() -> Value {
    json!({
        "name": "Pine Pass",
        "zone": "America/Denver",
        "latitude": 39.6,
        "longitude": -105.9,
        "season": {"starts": "11-01", "ends": "04-20"},
        "typical_snow_days": 70,
        "snow_day_mm": 25.0,
        "design_storm": {"hours": 24.0, "depth_mm": 400.0, "reclear_mm": 50.0, "density_kg_m3": 90.0, "temperature_c": -8.0, "low_c": -20.0},
        "duties": [{"name": "Bays", "work": "clear", "class": "first", "area_m2": 3000.0, "clear_within_h": 4.0, "narrowest_width_mm": 900.0}],
        "operators": [{"work": "clear", "narrowest_width_mm": 900.0, "per_shift": 2}]
    })
}

#[tokio::test]
async fn a_depot_is_created_found_changed_and_published() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let created = manager.post("/v1/depots", &pine_pass()).await.expect(201);
    let id = created.id();
    let path = format!("/v1/depots/{id}");
    assert_eq!(created.header("location"), path);
    assert_eq!(created.etag(), "\"1\"");
    let mut expected = pine_pass();
    expected["id"] = json!(id);
    expected["rev"] = json!(1);
    assert_eq!(created.json(), expected);

    let found = manager.get(&path).await.expect(200);
    assert_eq!(found.json(), expected);
    assert_eq!(found.etag(), created.etag());
    let known = manager
        .request(Method::GET, &path)
        .header("If-None-Match", found.etag());
    assert_eq!(Answer::of(known).await.expect(304).body, "");

    let changed = manager
        .patch(
            &path,
            &found.etag(),
            &json!({"name": "Pine Pass South", "duties": []}),
        )
        .await
        .expect(200);
    expected["name"] = json!("Pine Pass South");
    expected["duties"] = json!([]);
    expected["rev"] = json!(2);
    assert_eq!(changed.json(), expected);
    assert_eq!(changed.etag(), "\"2\"");
    manager
        .patch(&path, &found.etag(), &json!({"name": "Late"}))
        .await
        .problem(412);
    Answer::of(manager.request(Method::PATCH, &path).json(&json!({})))
        .await
        .problem(428);
    assert_eq!(manager.get(&path).await.expect(200).json(), expected);

    // What readers pull is what GET answers; the depot is marked; both writes are audited.
    let owner = owner(&server).await;
    let org_id = server.world.ours.org_id;
    let id: Uuid = id.parse().unwrap();
    let entry = owner
        .query_one("select doc, seq, rev from feed_entry where org_id = $1 and scope_id = $2 and kind = 'depot' and object_id = $2", &[&org_id, &id])
        .await
        .unwrap();
    assert_eq!(
        serde_json::from_str::<Value>(entry.get(0)).unwrap(),
        expected
    );
    assert_eq!((entry.get::<_, i64>(1), entry.get::<_, i64>(2)), (2, 2));
    let marked: i64 = owner
        .query_one(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&org_id, &id],
        )
        .await
        .unwrap()
        .get(0);
    assert_eq!(marked, 2);
    let audited = owner
        .query("select action, detail::text, request_id is not null from audit where org_id = $1 and object_id = $2 order by id", &[&org_id, &id])
        .await
        .unwrap();
    let actions: Vec<&str> = audited.iter().map(|row| row.get(0)).collect();
    assert_eq!(actions, ["create", "update"]);
    let change: Value = serde_json::from_str(audited[1].get(1)).unwrap();
    assert_eq!(
        change["name"],
        json!({"from": "Pine Pass", "to": "Pine Pass South"})
    );
    assert!(audited.iter().all(|row| row.get::<_, bool>(2)));
}

async fn owner(server: &TestServer) -> tokio_postgres::Client {
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, tokio_postgres::NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    owner
}

#[tokio::test]
async fn what_may_be_left_out_has_its_default() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let mut new = pine_pass();
    for field in ["snow_day_mm", "duties", "operators"] {
        new.as_object_mut().unwrap().remove(field);
    }
    new["design_storm"] = json!({"hours": 24, "depth_mm": 400, "reclear_mm": 50});
    // As the zone database writes it, however it was typed.
    new["zone"] = json!("america/denver");
    let depot = manager.post("/v1/depots", &new).await.expect(201).json();
    assert_eq!(depot["snow_day_mm"], 25.0);
    assert_eq!(depot["duties"], json!([]));
    assert_eq!(depot["operators"], json!([]));
    assert_eq!(depot["design_storm"]["density_kg_m3"], Value::Null);
    assert_eq!(depot["zone"], "America/Denver");
}

#[tokio::test]
async fn a_list_has_pages_and_filters_and_only_what_is_granted() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let mut ids = vec![
        server.world.ours.home.id.to_string(),
        server.world.ours.far.id.to_string(),
    ];
    for number in 0..5 {
        let mut new = pine_pass();
        new["name"] = json!(format!("Depot {number}"));
        ids.push(manager.post("/v1/depots", &new).await.expect(201).id());
    }
    ids.sort();
    let mut seen = Vec::new();
    let mut path = "/v1/depots?limit=3".to_owned();
    loop {
        let page = manager.get(&path).await.expect(200).json();
        let items = page["items"].as_array().unwrap();
        assert!(items.len() <= 3);
        seen.extend(
            items
                .iter()
                .map(|depot| depot["id"].as_str().unwrap().to_owned()),
        );
        match page["next_cursor"].as_str() {
            Some(cursor) => path = format!("/v1/depots?limit=3&cursor={cursor}"),
            None => break,
        }
    }
    assert_eq!(seen, ids, "each once, in order");
    let named = manager
        .get("/v1/depots?name=Depot%203")
        .await
        .expect(200)
        .json();
    assert_eq!(named["items"].as_array().unwrap().len(), 1);
    assert_eq!(named["items"][0]["name"], "Depot 3");

    let granted = server
        .technician()
        .await
        .get("/v1/depots")
        .await
        .expect(200);
    let names: Vec<Value> = granted.json()["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|depot| depot["name"].clone())
        .collect();
    assert_eq!(names, ["Home"]);
    // A list is as strong as an object: known content is not sent again.
    let again = server.technician().await;
    let again = again
        .request(Method::GET, "/v1/depots")
        .header("If-None-Match", granted.etag());
    Answer::of(again).await.expect(304);
}

#[tokio::test]
async fn whoever_creates_a_depot_may_see_it_at_once() {
    let server = TestServer::start().await;
    let owner = owner(&server).await;
    owner
        .execute(
            "update person set role = 'district manager' where name = 'The depot lead'",
            &[],
        )
        .await
        .unwrap();
    let granted_one = server
        .anonymous()
        .signed_in("depot-lead@ours.example")
        .await;
    let administrator = server.administrator().await;
    let people = administrator.get("/v1/people").await.json();
    let people = people["items"].as_array().unwrap();
    let lead = people
        .iter()
        .find(|person| person["name"] == "The depot lead");
    let lead = format!("/v1/people/{}", lead.unwrap()["id"].as_str().unwrap());
    let before = administrator.get(&lead).await.expect(200);
    let id = granted_one
        .post("/v1/depots", &pine_pass())
        .await
        .expect(201)
        .id();
    // Who read the person before cannot take away by an old version what was granted since.
    administrator
        .patch(&lead, &before.etag(), &json!({"depots": []}))
        .await
        .problem(412);
    let after = administrator.get(&lead).await.expect(200).json();
    assert!(after["depots"].as_array().unwrap().contains(&json!(id)));
    granted_one
        .get(&format!("/v1/depots/{id}"))
        .await
        .expect(200);
    granted_one
        .get(&format!("/v1/depots/{}", server.world.ours.far.id))
        .await
        .problem(404);
}

#[tokio::test]
async fn a_clients_own_id_is_kept_and_counts_once() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let id = Uuid::now_v7();
    let mut new = pine_pass();
    new["id"] = json!(id);
    assert_eq!(
        manager.post("/v1/depots", &new).await.expect(201).id(),
        id.to_string()
    );
    new["name"] = json!("Another");
    assert_eq!(manager.post("/v1/depots", &new).await.problem(409), ["id"]);
    // Version 4: not in order of time.
    new["id"] = json!("0b54d1a2-6f0b-4b4e-8a39-5d3c9c1d5c11");
    assert_eq!(manager.post("/v1/depots", &new).await.problem(422), ["id"]);
    new["id"] = Value::Null;
    new["name"] = json!("Home");
    assert_eq!(
        manager.post("/v1/depots", &new).await.problem(409),
        ["name"]
    );
}

#[tokio::test]
async fn the_same_idempotency_key_does_the_same_once() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let send = |body: Value, key: &'static str| {
        Answer::of(
            manager
                .request(Method::POST, "/v1/depots")
                .header("Idempotency-Key", key)
                .json(&body),
        )
    };
    let first = send(pine_pass(), "key 1").await.expect(201);
    let again = send(pine_pass(), "key 1").await.expect(201);
    assert_eq!(again.body, first.body);
    assert_eq!(again.etag(), first.etag());
    assert_eq!(again.header("location"), first.header("location"));
    let mut other = pine_pass();
    other["name"] = json!("Another");
    assert_eq!(
        send(other.clone(), "key 1").await.problem(422),
        ["Idempotency-Key"]
    );
    // What failed was not carried out, so it may be tried again under its key.
    other["latitude"] = json!(100);
    assert_eq!(
        send(other.clone(), "key 2").await.problem(422),
        ["latitude"]
    );
    assert_eq!(
        manager.get("/v1/depots").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        3
    );
    // At the same moment, too.
    other["latitude"] = json!(10);
    let answers = futures::future::join_all((0..8).map(|_| send(other.clone(), "key 3"))).await;
    for answer in &answers {
        assert_eq!((answer.status, &answer.body), (201, &answers[0].body));
    }
    assert_eq!(
        send(json!({}), "k".repeat(201).leak()).await.problem(400),
        ["Idempotency-Key"]
    );
}

#[tokio::test]
async fn of_two_changes_at_the_same_moment_one_is_told_that_it_came_late() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let path = format!("/v1/depots/{}", server.world.ours.home.id);
    let answers = futures::future::join_all((0..8).map(|number| {
        let (manager, path) = (manager.clone(), path.clone());
        async move {
            manager
                .patch(&path, "\"1\"", &json!({"name": format!("Home {number}")}))
                .await
                .status
        }
    }))
    .await;
    assert_eq!(
        answers.iter().filter(|status| **status == 200).count(),
        1,
        "{answers:?}"
    );
    assert_eq!(
        answers.iter().filter(|status| **status == 412).count(),
        7,
        "{answers:?}"
    );
}

#[tokio::test]
async fn every_value_that_no_depot_can_have_is_named() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let duty = |change: Value| {
        let mut duty = pine_pass()["duties"][0].clone();
        duty.as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        json!([duty])
    };
    let storm = |change: Value| {
        let mut storm = pine_pass()["design_storm"].clone();
        storm
            .as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        storm
    };
    let cases = [
        (json!({"name": ""}), "name"),
        (json!({"name": "   "}), "name"),
        (json!({"name": "x".repeat(201)}), "name"),
        (json!({"name": "two\nlines"}), "name"),
        (json!({"name": 7}), "name"),
        (json!({"name": null}), "name"),
        (json!({"zone": "Mars/Olympus"}), "zone"),
        (json!({"zone": ""}), "zone"),
        (json!({"latitude": 90.5}), "latitude"),
        (json!({"longitude": -180.5}), "longitude"),
        (json!({"latitude": "north"}), "latitude"),
        (
            json!({"season": {"starts": "13-01", "ends": "04-20"}}),
            "season.starts",
        ),
        (json!({"season": {"starts": "11-01"}}), "season.ends"),
        (
            json!({"season": {"starts": "11-01", "ends": "02-30"}}),
            "season.ends",
        ),
        (json!({"typical_snow_days": 367}), "typical_snow_days"),
        (json!({"typical_snow_days": 1.5}), "typical_snow_days"),
        (json!({"snow_day_mm": 0}), "snow_day_mm"),
        (
            json!({"design_storm": storm(json!({"hours": 0}))}),
            "design_storm.hours",
        ),
        (
            json!({"design_storm": storm(json!({"depth_mm": -1}))}),
            "design_storm.depth_mm",
        ),
        (
            json!({"design_storm": storm(json!({"reclear_mm": 0}))}),
            "design_storm.reclear_mm",
        ),
        (
            json!({"design_storm": storm(json!({"density_kg_m3": 2000}))}),
            "design_storm.density_kg_m3",
        ),
        (
            json!({"design_storm": storm(json!({"low_c": -300}))}),
            "design_storm.low_c",
        ),
        (
            json!({"design_storm": storm(json!({"wind": 3}))}),
            "design_storm.wind",
        ),
        (
            json!({"duties": duty(json!({"area_m2": 0}))}),
            "duties[0].area_m2",
        ),
        (
            json!({"duties": duty(json!({"work": "dig"}))}),
            "duties[0].work",
        ),
        (
            json!({"duties": duty(json!({"clear_within_h": -2}))}),
            "duties[0].clear_within_h",
        ),
        (
            json!({"duties": duty(json!({"narrowest_width_mm": 0}))}),
            "duties[0].narrowest_width_mm",
        ),
        (
            json!({"duties": duty(json!({"work": "spread"}))}),
            "duties[0].dose_g_m2",
        ),
        (
            json!({"duties": duty(json!({"work": "spread", "dose_g_m2": 0}))}),
            "duties[0].dose_g_m2",
        ),
        (
            json!({"duties": duty(json!({"work": "blow", "dose_g_m2": 20}))}),
            "duties[0].dose_g_m2",
        ),
        (
            json!({"duties": duty(json!({"dose_g_m2": "much"}))}),
            "duties[0].dose_g_m2",
        ),
        (json!({"duties": {}}), "duties"),
        (
            json!({"duties": vec![pine_pass()["duties"][0].clone(); 201]}),
            "duties",
        ),
        (
            json!({"operators": [{"work": "clear", "per_shift": -1}]}),
            "operators[0].per_shift",
        ),
        (
            json!({"operators": vec![json!({"work": "clear", "per_shift": 1}); 2]}),
            "operators[1].work",
        ),
        (json!({"colour": "red"}), "colour"),
    ];
    let home = format!("/v1/depots/{}", server.world.ours.home.id);
    for (change, field) in cases {
        let mut new = pine_pass();
        new.as_object_mut()
            .unwrap()
            .extend(change.as_object().unwrap().clone());
        assert_eq!(
            manager.post("/v1/depots", &new).await.problem(422),
            [field],
            "POST {change}"
        );
        assert_eq!(
            manager.patch(&home, "\"1\"", &change).await.problem(422),
            [field],
            "PATCH {change}"
        );
    }
    let required = [
        "name",
        "zone",
        "latitude",
        "longitude",
        "season",
        "typical_snow_days",
        "design_storm",
    ];
    for field in required {
        let mut new = pine_pass();
        new.as_object_mut().unwrap().remove(field);
        assert_eq!(manager.post("/v1/depots", &new).await.problem(422), [field]);
    }
    assert_eq!(
        manager.get("/v1/depots").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        2,
        "nothing was stored"
    );
    assert_eq!(
        manager.get(&home).await.etag(),
        "\"1\"",
        "nothing was changed"
    );
}
