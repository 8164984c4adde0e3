//! Keys of depot systems: told once, kept hashed, for what they name and for so long, and ended within seconds.

use jiff::{SignedDuration, Timestamp};
use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer, email, eventually};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio_postgres::NoTls;
use uuid::Uuid;

async fn program(server: &TestServer) -> String {
    let path = format!("/v1/people?email={}", email("ours", Role::DepotSystem));
    let people = server.administrator().await.get(&path).await;
    let people = people.expect(200).json();
    people["items"][0]["id"].as_str().expect("an id").to_owned()
}

fn key_of(person_id: &str, may_write: &[&str], lives: SignedDuration) -> Value {
    let expires_at = Timestamp::now() + lives;
    json!({"person_id": person_id, "name": "Roof station", "may_write": may_write, "expires_at": expires_at})
}

const DAY: SignedDuration = SignedDuration::from_hours(24);

/// The key as made, and who shows it.
async fn made(server: &TestServer, may_write: &[&str]) -> (Value, Actor) {
    let new = key_of(&program(server).await, may_write, DAY);
    let made = server.administrator().await.post("/v1/keys", &new).await;
    let made = made.expect(201).json();
    let secret = made["key"].as_str().expect("the secret");
    let program = server.anonymous().with_token(secret);
    (made, program)
}

#[tokio::test]
async fn a_key_reads_what_its_program_is_granted_and_writes_what_it_names() {
    let server = TestServer::start().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let (_, reads) = made(&server, &[]).await;
    let (_, snow) = made(&server, &["snowfall"]).await;
    let depots = reads.get("/v1/depots").await.expect(200).json();
    assert_eq!(depots["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(depots["items"][0]["id"], home.to_string());
    let me = reads.get("/v1/me").await.expect(200).json();
    assert_eq!(me["role"], "depot system");

    let path = format!("/v1/depots/{home}/snowfall");
    let fallen = json!({"days": [{"on": "2024-12-01", "snowfall_mm": 80}]});
    let refused = reads.post(&path, &fallen).await;
    refused.problem(403);
    assert!(refused.body.contains("may_write"), "{}", refused.body);
    snow.post(&path, &fallen).await.expect(200);
    // Named is what, not where: that is the program's grant.
    let elsewhere = format!("/v1/depots/{far}/snowfall");
    snow.post(&elsewhere, &fallen).await.problem(404);
    let started = json!({"unit_id": Uuid::now_v7(), "read_at": Timestamp::now(), "started": true});
    snow.post("/v1/meter-readings", &started).await.problem(403);
    let (_, meters) = made(&server, &["meter readings"]).await;
    let unknown = meters.post("/v1/meter-readings", &started).await;
    assert_eq!(unknown.problem(422), ["unit_id"]);
    meters.post(&path, &fallen).await.problem(403);

    // Signing out ends no key; and signed in with a password such a program only reads.
    let out = Answer::of(reads.request(Method::POST, "/v1/sign-out")).await;
    out.expect(204);
    reads.get("/v1/me").await.expect(200);
    let signed_in = server.anonymous();
    let signed_in = signed_in.signed_in(&email("ours", Role::DepotSystem)).await;
    signed_in.get("/v1/depots").await.expect(200);
    signed_in.post(&path, &fallen).await.problem(403);
}

#[tokio::test]
async fn the_secret_is_told_once_and_kept_nowhere() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = key_of(&program(&server).await, &["snowfall"], DAY);
    let post = || {
        let request = administrator.request(Method::POST, "/v1/keys");
        request.header("Idempotency-Key", "once").json(&new)
    };
    let first = Answer::of(post()).await.expect(201);
    assert_eq!(first.header("cache-control"), "no-store");
    let secret = first.json()["key"].as_str().expect("a secret").to_owned();
    assert!(secret.starts_with("rimeyard-key-") && secret.len() > 50);
    // The answer was lost: the same key, and its secret is gone.
    let again = Answer::of(post()).await.expect(201).json();
    assert_eq!(again["id"], first.json()["id"]);
    assert_eq!(again["key"], Value::Null);
    let id = first.id();
    let shown = administrator.get(&format!("/v1/keys/{id}")).await;
    let listed = administrator.get("/v1/keys").await.expect(200);
    for answer in [shown.expect(200), listed] {
        assert!(!answer.body.contains(&secret), "{}", answer.body);
    }

    server
        .anonymous()
        .with_token(&secret)
        .get("/v1/me")
        .await
        .expect(200);
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    let tables = owner
        .query(
            "select table_name::text from information_schema.tables where table_schema = 'public'",
            &[],
        )
        .await
        .expect("tables");
    let bare = secret.trim_start_matches("rimeyard-key-");
    for table in tables {
        let table: String = table.get(0);
        let holds = format!("select count(*) from {table} t where t::text like '%' || $1 || '%'");
        let rows: i64 = owner
            .query_one(&holds, &[&bare])
            .await
            .expect("counted")
            .get(0);
        assert_eq!(rows, 0, "{table}");
    }
    let key: String = owner
        .query_one("select encode(key_hash, 'hex') from access_key", &[])
        .await
        .expect("the key")
        .get(0);
    let digest = <sha2::Sha256 as sha2::Digest>::digest(&secret);
    assert_eq!(
        key,
        digest
            .iter()
            .map(|byte| format!("{byte:02x}"))
            .collect::<String>()
    );
}

#[tokio::test]
async fn a_key_ends_when_it_is_revoked_when_its_time_is_over_and_with_its_program() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let program = program(&server).await;
    let gone = async |what: &str, shows: &Actor| {
        eventually(5.0, what, async || shows.get("/v1/me").await.status == 401).await;
    };
    let (made_first, first) = made(&server, &[]).await;
    first.get("/v1/me").await.expect(200);
    let path = format!("/v1/keys/{}", made_first["id"].as_str().expect("an id"));
    let used = administrator.get(&path).await.expect(200).json();
    assert!(used["last_used_at"].is_string(), "{used}");
    let revoked = administrator
        .post(&format!("{path}/revoke"), &json!({}))
        .await;
    assert!(revoked.expect(200).json()["revoked_by"].is_string());
    administrator
        .post(&format!("{path}/revoke"), &json!({}))
        .await
        .problem(409);
    gone("revoked", &first).await;

    let brief = key_of(&program, &[], SignedDuration::from_millis(900));
    let brief = administrator
        .post("/v1/keys", &brief)
        .await
        .expect(201)
        .json();
    let brief = server
        .anonymous()
        .with_token(brief["key"].as_str().expect("a secret"));
    brief.get("/v1/me").await.expect(200);
    gone("its time is over", &brief).await;

    let (_, last) = made(&server, &[]).await;
    last.get("/v1/me").await.expect(200);
    let path = format!("/v1/people/{program}");
    let rev = administrator.get(&path).await.expect(200).etag();
    let leaves = administrator
        .request(Method::PATCH, &path)
        .header("If-Match", rev)
        .json(&json!({"active": false}));
    Answer::of(leaves).await.expect(200);
    gone("its program left", &last).await;
}

#[tokio::test]
async fn what_no_key_can_be_is_named() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let program = program(&server).await;
    let me = administrator.get("/v1/me").await.expect(200).json();
    let me = me["person_id"]
        .as_str()
        .or(me["id"].as_str())
        .expect("who I am")
        .to_owned();
    let with = |field: &str, value: Value| {
        let mut new = key_of(&program, &[], DAY);
        new[field] = value;
        new
    };
    for (new, field) in [
        (with("person_id", json!(me)), "person_id"),
        (with("person_id", json!(Uuid::now_v7())), "person_id"),
        (with("name", json!(" ")), "name"),
        (with("name", json!("a\nb")), "name"),
        (with("may_write", json!(["inspections"])), "may_write[0]"),
        (
            with("expires_at", json!(Timestamp::now() - DAY)),
            "expires_at",
        ),
        (
            with("expires_at", json!(Timestamp::now() + DAY * 401)),
            "expires_at",
        ),
        (
            with("id", json!("0f0e0d0c-0b0a-4908-8706-050403020100")),
            "id",
        ),
        (with("colour", json!("red")), "colour"),
    ] {
        let answer = administrator.post("/v1/keys", &new).await;
        assert_eq!(answer.problem(422), [field], "{new}");
    }
    for _ in 0..20 {
        administrator
            .post("/v1/keys", &with("name", json!("One of many")))
            .await
            .expect(201);
    }
    administrator
        .post("/v1/keys", &with("name", json!("One too many")))
        .await
        .problem(409);

    for wrong in ["rimeyard-key-", "rimeyard-key-AAAA", "rimeyard-key-\u{e9}"] {
        let request = server.anonymous().request(Method::GET, "/v1/me");
        let request = request.header("Authorization", format!("Bearer {wrong}").into_bytes());
        Answer::of(request).await.problem(401);
    }
}
