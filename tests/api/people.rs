//! /v1/people

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{audited, entry, owner};
use super::refusals::{every_page, patch_refuses, post_refuses, with};

const PASSWORD: &str = "eleven wet mittens";

fn mechanic(server: &TestServer) -> Value {
    json!({
        "name": "Ada Frost", "role": "technician", "depots": [server.world.ours.home.id],
        "email": "ada@ours.example", "password": PASSWORD,
    })
}

async fn sign_in(server: &TestServer, email: &str, password: &str) -> Answer {
    let body = json!({"email": email, "password": password});
    server.anonymous().post("/v1/sign-in", &body).await
}

#[tokio::test]
async fn a_person_is_created_found_changed_and_published_without_secrets() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let created = administrator
        .post("/v1/people", &mechanic(&server))
        .await
        .expect(201);
    let id = created.id();
    let path = format!("/v1/people/{id}");
    assert_eq!(created.header("location"), path);
    assert_eq!(created.etag(), "\"1\"");
    let mut expected = json!({
        "id": id, "name": "Ada Frost", "role": "technician", "all_depots": false,
        "depots": [server.world.ours.home.id], "email": "ada@ours.example", "active": true, "rev": 1,
    });
    assert_eq!(created.json(), expected);
    assert_eq!(administrator.get(&path).await.expect(200).json(), expected);
    let found = administrator
        .get("/v1/people?email=ADA@ours.example")
        .await
        .expect(200)
        .json();
    assert_eq!(found, json!({"items": [expected], "next_cursor": null}));
    sign_in(&server, "ada@ours.example", PASSWORD)
        .await
        .expect(200);

    let change =
        json!({"name": "Ada Snow", "role": "depot lead", "password": "twelve dry mittens"});
    let changed = administrator
        .patch(&path, &created.etag(), &change)
        .await
        .expect(200);
    expected = with(
        &expected,
        &json!({"name": "Ada Snow", "role": "depot lead", "rev": 2}),
    );
    assert_eq!(changed.json(), expected);
    administrator
        .patch(&path, &created.etag(), &change)
        .await
        .problem(412);
    Answer::of(administrator.request(Method::PATCH, &path).json(&change))
        .await
        .problem(428);
    sign_in(&server, "ada@ours.example", PASSWORD)
        .await
        .problem(401);
    sign_in(&server, "ada@ours.example", "twelve dry mittens")
        .await
        .expect(200);

    // Readers of the organisation's scope learn who it is, and nothing of how they sign in.
    let published = entry(&server, server.world.ours.org_id, "person", &id).await;
    let public =
        json!({"id": id, "name": "Ada Snow", "role": "depot lead", "active": true, "rev": 2});
    assert_eq!((published.doc, published.rev), (public, 2));
    let audited = audited(&server, &id).await;
    assert_eq!((&*audited[0].0, &*audited[1].0), ("create", "update"));
    assert_eq!(
        audited[1].1["role"],
        json!({"from": "technician", "to": "depot lead"})
    );
    let all = json!([audited[0].1, audited[1].1]).to_string();
    assert!(!all.contains("mittens"), "{all}");
}

#[tokio::test]
async fn what_is_granted_and_taken_away_counts_at_once() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let id = administrator
        .post("/v1/people", &mechanic(&server))
        .await
        .expect(201)
        .id();
    let path = format!("/v1/people/{id}");
    let tokens = sign_in(&server, "ada@ours.example", PASSWORD).await.json();
    let ada = server
        .anonymous()
        .with_token(tokens["access_token"].as_str().unwrap());
    ada.get(&format!("/v1/depots/{home}")).await.expect(200);
    ada.get(&format!("/v1/depots/{far}")).await.problem(404);
    ada.get("/v1/people").await.problem(403);

    let change = json!({"depots": [far]});
    administrator
        .patch(&path, "\"1\"", &change)
        .await
        .expect(200);
    ada.get(&format!("/v1/depots/{home}")).await.problem(404);
    ada.get(&format!("/v1/depots/{far}")).await.expect(200);
    let change = json!({"all_depots": true, "role": "administrator"});
    administrator
        .patch(&path, "\"2\"", &change)
        .await
        .expect(200);
    ada.get(&format!("/v1/depots/{home}")).await.expect(200);
    ada.get("/v1/people").await.expect(200);
    let change = json!({"active": false});
    administrator
        .patch(&path, "\"3\"", &change)
        .await
        .expect(200);
    ada.get("/v1/me").await.problem(401);
    sign_in(&server, "ada@ours.example", PASSWORD)
        .await
        .problem(401);

    // Back again, she signs in; who has the phone that was stolen meanwhile does not come back with her.
    let change = json!({"active": true});
    administrator
        .patch(&path, "\"4\"", &change)
        .await
        .expect(200);
    let refresh = json!({"refresh_token": tokens["refresh_token"]});
    let anyone = server.anonymous();
    ada.get("/v1/me").await.problem(401);
    anyone
        .post("/v1/sign-in/refresh", &refresh)
        .await
        .problem(401);
    sign_in(&server, "ada@ours.example", PASSWORD)
        .await
        .expect(200);
}

#[tokio::test]
async fn everyone_is_on_one_page_and_nobody_of_another_organisation() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let emails = every_page(&administrator, "/v1/people", 4, "email").await;
    assert_eq!(emails.len(), 6, "{emails:?}");
    assert!(emails.iter().all(|email| email.ends_with("@ours.example")));
    let theirs = administrator
        .get("/v1/people?email=technician@theirs.example")
        .await
        .expect(200)
        .json();
    assert_eq!(theirs["items"], json!([]));
    administrator
        .get("/v1/people?role=technician")
        .await
        .problem(400);
}

#[tokio::test]
async fn what_nobody_can_be_is_named() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let own = administrator
        .get("/v1/people?email=technician@ours.example")
        .await
        .json()["items"][0]
        .clone();
    let path = format!("/v1/people/{}", own["id"].as_str().unwrap());
    let nobodys = Uuid::now_v7();
    let theirs = server.world.theirs.home.id;
    let both = [
        (json!({"name": ""}), "name"),
        (json!({"name": "x".repeat(201)}), "name"),
        (json!({"name": "a\0b"}), "name"),
        (json!({"name": "two\nlines"}), "name"),
        (json!({"name": 5}), "name"),
        (json!({"role": "boss"}), "role"),
        (json!({"role": null}), "role"),
        (json!({"all_depots": "yes"}), "all_depots"),
        (json!({"depots": [nobodys]}), "depots[0]"),
        (json!({"depots": [theirs]}), "depots[0]"),
        (json!({"depots": ["home"]}), "depots[0]"),
        (
            json!({"depots": vec![0; 1_001].iter().map(|_| Uuid::now_v7()).collect::<Vec<_>>()}),
            "depots",
        ),
        (json!({"email": "no address"}), "email"),
        (json!({"email": "a".repeat(250) + "@x.example"}), "email"),
        (json!({"password": "eleven char"}), "password"),
        (json!({"password": "x".repeat(201)}), "password"),
        (json!({"password": 123_456_789_012_i64}), "password"),
        (json!({"salary": 1}), "salary"),
    ];
    let good = mechanic(&server);
    post_refuses(
        &administrator,
        "/v1/people",
        &good,
        &["name", "role"],
        &both,
    )
    .await;
    patch_refuses(&administrator, &path, "\"1\"", &both).await;
    let only_new = [(json!({"id": "7a0c8d0e-6f55-4e7a-8a53-000000000000"}), "id")];
    post_refuses(
        &administrator,
        "/v1/people",
        &good,
        &["email", "password"],
        &only_new,
    )
    .await;
    // An id of another organisation's depot is answered like one that was never given out.
    let told = |depot: Uuid| {
        let new = with(&good, &json!({"depots": [depot]}));
        let administrator = administrator.clone();
        async move { administrator.post("/v1/people", &new).await.body }
    };
    assert_eq!(told(theirs).await, told(nobodys).await);
    // Addresses are unique over all organisations, since sign-in names no other.
    for taken in ["technician@ours.example", "technician@theirs.example"] {
        let answer = administrator
            .post("/v1/people", &with(&good, &json!({"email": taken})))
            .await;
        assert_eq!(answer.problem(409), ["email"]);
        let answer = administrator
            .patch(
                &path,
                "\"1\"",
                &json!({"email": taken.replace("technician", "operator")}),
            )
            .await;
        assert_eq!(answer.problem(409), ["email"]);
    }
    let people = administrator.get("/v1/people").await.json();
    assert_eq!(
        people["items"].as_array().unwrap().len(),
        6,
        "none was stored"
    );
}

#[tokio::test]
async fn somebody_is_always_left_to_administer() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let own = administrator
        .get("/v1/people?email=administrator@ours.example")
        .await
        .json()["items"][0]
        .clone();
    let path = format!("/v1/people/{}", own["id"].as_str().unwrap());
    for (change, field) in [
        (json!({"role": "operator"}), "role"),
        (json!({"active": false}), "active"),
    ] {
        let answer = administrator.patch(&path, "\"1\"", &change).await;
        assert_eq!(answer.problem(409), [field]);
    }
    let second = with(&mechanic(&server), &json!({"role": "administrator"}));
    administrator.post("/v1/people", &second).await.expect(201);
    administrator
        .patch(&path, "\"1\"", &json!({"active": false}))
        .await
        .expect(200);
}

#[tokio::test]
async fn a_repeat_under_the_same_key_creates_nobody_and_keeps_no_trace_of_the_password() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let send = |body: Value| {
        let request = administrator
            .request(Method::POST, "/v1/people")
            .header("Idempotency-Key", "new mechanic")
            .json(&body);
        Answer::of(request)
    };
    let first = send(mechanic(&server)).await.expect(201);
    let again = send(mechanic(&server)).await.expect(201);
    assert_eq!(
        (again.body, again.headers.get("etag")),
        (first.body.clone(), first.headers.get("etag"))
    );
    // The digest that is kept does not depend on the password, so the password cannot be guessed from it.
    let digest = || async {
        let row = owner(&server)
            .await
            .query_one(
                "select request_digest from idempotency where key = 'new mechanic'",
                &[],
            )
            .await
            .unwrap();
        row.get::<_, Vec<u8>>(0)
    };
    let kept = digest().await;
    let other = with(
        &mechanic(&server),
        &json!({"password": "thirteen old mittens"}),
    );
    assert_eq!(send(other).await.expect(201).body, first.body);
    assert_eq!(digest().await, kept);
    let other = with(&mechanic(&server), &json!({"name": "Bo"}));
    assert_eq!(send(other).await.problem(422), ["Idempotency-Key"]);
}
