//! /v1/sign-in, /v1/sign-in/refresh, /v1/sign-out, /v1/me, /v1/me/password, /.well-known/jwks.json

use base64::Engine;
use base64::prelude::BASE64_URL_SAFE_NO_PAD;
use jsonwebtoken::jwk::JwkSet;
use jsonwebtoken::{Algorithm, DecodingKey, Validation, decode, decode_header};
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email, eventually};
use rimeyard_store::Role;
use serde_json::{Value, json};
use tokio_postgres::NoTls;

pub async fn sign_in(actor: &Actor, email: &str, password: &str) -> Answer {
    actor
        .post(
            "/v1/sign-in",
            &json!({"email": email, "password": password}),
        )
        .await
}

async fn refresh(actor: &Actor, tokens: &Value) -> Answer {
    actor
        .post(
            "/v1/sign-in/refresh",
            &json!({"refresh_token": tokens["refresh_token"]}),
        )
        .await
}

#[tokio::test]
async fn each_role_signs_in_and_is_told_who_it_is() {
    let server = TestServer::start().await;
    for role in Role::ALL {
        let me = server
            .of_role(role)
            .await
            .get("/v1/me")
            .await
            .expect(200)
            .json();
        assert_eq!(me["role"], role.as_str());
        assert_eq!(me["name"], format!("The {role}"));
        assert_eq!(me["organisation"], "ours");
        let everywhere = matches!(role, Role::DistrictManager | Role::Administrator);
        assert_eq!(me["all_depots"], everywhere);
        let granted = if everywhere {
            json!([])
        } else {
            json!([server.world.ours.home.id])
        };
        assert_eq!(me["depots"], granted);
    }
}

#[tokio::test]
async fn what_is_answered_is_complete_and_kept_by_no_cache() {
    let server = TestServer::start().await;
    // Case and blanks around an address are a slip of the thumb.
    let answer = sign_in(&server.anonymous(), " Technician@OURS.example ", PASSWORD)
        .await
        .expect(200);
    assert_eq!(answer.header("cache-control"), "no-store");
    let tokens = answer.json();
    assert_eq!(tokens["expires_in_s"], 600);
    assert_eq!(tokens["token_type"], "Bearer");
    assert_eq!(tokens.as_object().unwrap().len(), 4);
}

#[tokio::test]
async fn nothing_tells_an_unknown_address_from_a_wrong_password_or_someone_who_left() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let wrong = sign_in(&anyone, &email("ours", Role::Technician), "wrong password").await;
    wrong.problem(401);
    let unknown = sign_in(&anyone, "nobody@ours.example", PASSWORD).await;
    let administrator = server.administrator().await;
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    owner
        .execute(
            "update person set active = false where name = 'The operator'",
            &[],
        )
        .await
        .unwrap();
    let left = sign_in(&anyone, &email("ours", Role::Operator), PASSWORD).await;
    for other in [unknown, left] {
        assert_eq!((other.status, &other.body), (401, &wrong.body));
    }
    administrator.get("/v1/me").await.expect(200);
}

#[tokio::test]
async fn the_token_is_what_the_published_keys_say() {
    // RFC 7519 claims, RFC 9068 typ, RFC 8037 EdDSA: checked here by another reader than the server's own.
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let keys: JwkSet = serde_json::from_value(
        server
            .anonymous()
            .get("/.well-known/jwks.json")
            .await
            .expect(200)
            .json(),
    )
    .unwrap();
    let header = decode_header(technician.token()).unwrap();
    assert_eq!(header.typ.as_deref(), Some("at+jwt"));
    assert_eq!(header.alg, Algorithm::EdDSA);
    let key = DecodingKey::from_jwk(keys.find(&header.kid.unwrap()).unwrap()).unwrap();
    let mut validation = Validation::new(Algorithm::EdDSA);
    validation.set_audience(&["rimeyard"]);
    validation.set_issuer(&["rimeyard"]);
    validation.validate_nbf = true;
    let claims = decode::<Value>(technician.token(), &key, &validation)
        .unwrap()
        .claims;
    assert_eq!(
        claims["exp"].as_i64().unwrap() - claims["nbf"].as_i64().unwrap(),
        600
    );
    assert_eq!(claims["org"], server.world.ours.org_id.to_string());
    let published = server.anonymous().get("/.well-known/jwks.json").await.body;
    assert!(!published.contains("\"d\""), "no private part is published");
}

#[tokio::test]
async fn a_token_that_is_not_quite_right_is_refused() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let [header, claims, signature] = technician.token().split('.').collect::<Vec<_>>()[..] else {
        panic!("a JWT")
    };
    let mut other: Value =
        serde_json::from_slice(&BASE64_URL_SAFE_NO_PAD.decode(claims).unwrap()).unwrap();
    other["org"] = json!(server.world.theirs.org_id);
    let other = BASE64_URL_SAFE_NO_PAD.encode(other.to_string());
    let none = BASE64_URL_SAFE_NO_PAD.encode(r#"{"alg":"none","typ":"at+jwt"}"#);
    for token in [
        format!("{header}.{other}.{signature}"),
        format!("{none}.{claims}."),
        format!("{none}.{claims}.{signature}"),
        format!("{header}.{claims}"),
        "x".to_owned(),
        "x".repeat(100_000).chars().take(4_000).collect(),
    ] {
        let answer = server.anonymous().with_token(&token).get("/v1/me").await;
        answer.problem(401);
        assert_eq!(answer.header("www-authenticate"), "Bearer");
    }
}

#[tokio::test]
async fn a_session_is_prolonged_and_ended() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let first = sign_in(&anyone, &email("ours", Role::Technician), PASSWORD)
        .await
        .expect(200)
        .json();
    let second = refresh(&anyone, &first).await.expect(200).json();
    // The answer may have been lost: the same token works again until its successor was used.
    let again = refresh(&anyone, &first).await.expect(200).json();
    let third = refresh(&anyone, &again).await.expect(200).json();
    let technician = anyone.with_token(third["access_token"].as_str().unwrap());
    technician.get("/v1/me").await.expect(200);
    let other_session = server.technician().await;
    assert_eq!(
        Answer::of(technician.request(reqwest::Method::POST, "/v1/sign-out"))
            .await
            .expect(204)
            .body,
        ""
    );
    technician.get("/v1/me").await.problem(401);
    refresh(&anyone, &third).await.problem(401);
    refresh(&anyone, &second).await.problem(401);
    other_session.get("/v1/me").await.expect(200);
}

#[tokio::test]
async fn a_refresh_token_used_by_a_thief_ends_the_session() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let first = sign_in(&anyone, &email("ours", Role::Technician), PASSWORD)
        .await
        .expect(200)
        .json();
    let second = refresh(&anyone, &first).await.expect(200).json();
    let third = refresh(&anyone, &second).await.expect(200).json();
    refresh(&anyone, &first).await.problem(401);
    refresh(&anyone, &third).await.problem(401);
}

#[tokio::test]
async fn a_right_taken_away_is_gone_within_five_seconds() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    technician.get("/v1/me").await.expect(200);
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    owner
        .execute(
            "update person set active = false where name = 'The technician'",
            &[],
        )
        .await
        .unwrap();
    eventually(5.0, "let in no more", async || {
        technician.get("/v1/me").await.status != 200
    })
    .await;
    technician.get("/v1/me").await.problem(401);
}

#[tokio::test]
async fn a_sign_in_with_something_wrong_names_it() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    for (body, field) in [
        (json!({"email": "a@b.example"}), "password"),
        (json!({"email": 1, "password": "x"}), "email"),
        (
            json!({"email": "a@b.example", "password": "x", "remember": true}),
            "remember",
        ),
        (
            json!({"email": "a@b.example\u{0}", "password": "x"}),
            "email",
        ),
    ] {
        assert_eq!(
            anyone.post("/v1/sign-in", &body).await.problem(422),
            [field]
        );
    }
    anyone
        .post("/v1/sign-in/refresh", &json!({"refresh_token": "x"}))
        .await
        .problem(401);
}

#[tokio::test]
async fn one_changes_ones_own_password_and_other_sessions_end() {
    let server = TestServer::start().await;
    let address = email("ours", Role::Technician);
    let elsewhere = server.technician().await;
    let technician = server.technician().await;
    let change = |current: &str, new: &str| {
        technician
            .request(reqwest::Method::POST, "/v1/me/password")
            .header("Idempotency-Key", "thirteen")
            .json(&json!({"current": current, "new": new}))
    };
    let new = "thirteen dry mittens";
    for (current, new, field) in [
        ("wrong password", new, "current"),
        (PASSWORD, "short", "new"),
    ] {
        assert_eq!(Answer::of(change(current, new)).await.problem(422), [field]);
    }
    let changed = Answer::of(change(PASSWORD, new)).await.expect(200);
    assert_eq!(changed.json(), json!({"email": address}));
    // The answer was lost and the phone repeats: the password it calls current is not any more.
    let again = Answer::of(change(PASSWORD, new)).await.expect(200);
    assert_eq!(again.body, changed.body);
    technician.get("/v1/me").await.expect(200);
    eventually(5.0, "ended elsewhere", async || {
        elsewhere.get("/v1/me").await.status == 401
    })
    .await;
    let anyone = server.anonymous();
    sign_in(&anyone, &address, PASSWORD).await.problem(401);
    sign_in(&anyone, &address, new).await.expect(200);
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    let told: String = owner
        .query_one("select string_agg(detail::text || coalesce((select string_agg(body, '') from idempotency), ''), '') from audit", &[])
        .await
        .unwrap()
        .get(0);
    assert!(
        told.contains("changed") && !told.contains("mittens"),
        "{told}"
    );
}

#[tokio::test]
async fn a_key_is_retired_while_servers_run() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let kids = async || {
        let keys = server.anonymous().get("/.well-known/jwks.json").await;
        keys.expect(200).json()["keys"].as_array().unwrap().len()
    };
    assert_eq!(kids().await, 1);
    let rotate = async |life_s| {
        let key = rimeyard_api::token::new_key().unwrap();
        let life = std::time::Duration::from_secs(life_s);
        rimeyard_store::door::rotate_keys(&server.database, &key, life)
            .await
            .unwrap();
        key.kid
    };
    // What the old key has signed is still good, and the new one signs, also before this server has heard of it.
    let kid = rotate(3_600).await;
    eventually(10.0, "both are published", async || kids().await == 2).await;
    technician.get("/v1/me").await.expect(200);
    let token = server.technician().await;
    assert_eq!(decode_header(token.token()).unwrap().kid, Some(kid));
    // It was stolen: what it and the first have signed is worth nothing.
    rotate(0).await;
    eventually(10.0, "one is left", async || kids().await == 1).await;
    for old in [&technician, &token] {
        old.get("/v1/me").await.problem(401);
    }
    server.technician().await.get("/v1/me").await.expect(200);
}
