//! Tokens that are not what they say, at every operation that asks who one is.

use jsonwebtoken::EncodingKey;
use reqwest::header::HeaderValue;
use rimeyard_harness::{Actor, Answer, TestServer, eventually};
use rimeyard_store::Role;

use super::audit::person_of;
use super::examples::body;
use super::fleet::owner;
use super::forger::{Class, Forged, Forger};
use super::objects::Objects;
use super::operations::{Operation, Scope, operations};
use super::stored::Stored;

/// What a refusal tells: nothing of it may depend on what was wrong.
fn told(answer: &Answer) -> (u16, String, String) {
    (
        answer.status,
        answer.header("www-authenticate").to_owned(),
        answer.body.clone(),
    )
}

/// The token of the pages that a sign-in sets.
async fn page_token(server: &TestServer, role: &str) -> String {
    let form = server
        .anonymous()
        .request(reqwest::Method::POST, "/sign-in")
        .header("Content-Type", "application/x-www-form-urlencoded")
        .body(format!(
            "email={role}%40ours.example&password=seven+cold+shovels"
        ));
    let answer = Answer::of(form).await.expect(303);
    let cookie = answer.header("set-cookie").to_owned();
    let value = cookie.strip_prefix("rimeyard_page=").expect("the cookie");
    value.split(';').next().expect("its value").to_owned()
}

/// A key that signed until a moment ago and is retired, as every server knows by now.
async fn retired_key(server: &TestServer) -> (String, EncodingKey) {
    let old = owner(server)
        .await
        .query_one("select kid, private_pem from signing_key", &[])
        .await
        .expect("one key");
    let new = rimeyard_api::token::new_key().expect("a key");
    rimeyard_store::door::rotate_keys(&server.database, &new, std::time::Duration::ZERO)
        .await
        .expect("rotated");
    eventually(10.0, "the new key signs", async || {
        let keys = server
            .anonymous()
            .get("/.well-known/jwks.json")
            .await
            .expect(200);
        keys.json()["keys"][0]["kid"] == new.kid
    })
    .await;
    let key = EncodingKey::from_ed_pem(old.get::<_, String>(1).as_bytes()).expect("a key");
    (old.get(0), key)
}

async fn call(
    operation: &Operation,
    anyone: &Actor,
    path: &str,
    header: (&str, &HeaderValue),
) -> Answer {
    let path = format!("{path}{}", super::examples::query(&operation.name));
    let mut request = anyone
        .request(operation.method.clone(), &path)
        .header(header.0, header.1);
    if operation.has_body && !operation.takes_table {
        request = request.json(&body(&operation.name));
    }
    Answer::of(request).await
}

#[tokio::test]
async fn no_forged_token_opens_anything() {
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    let administrator = server.administrator().await;
    let home = server
        .with_worker(async || {
            Objects::make(&operations, &administrator, &server.world.ours.home).await
        })
        .await;
    let retired = retired_key(&server).await;
    let administrator = server.administrator().await;
    let technician = server.technician().await;
    let foreign = server.foreign_administrator().await;
    let page = page_token(&server, "administrator").await;
    let bearer = Forger::new(
        &server,
        administrator.token(),
        [
            technician.token().to_owned(),
            foreign.token().to_owned(),
            page.clone(),
        ],
        retired.clone(),
    )
    .await;
    let cookie = Forger::new(
        &server,
        &page,
        [
            page_token(&server, "technician").await,
            foreign.token().to_owned(),
            administrator.token().to_owned(),
        ],
        retired,
    )
    .await;

    // What they make is let in where nothing is wrong with it: what is refused is refused for what is.
    let anyone = server.anonymous();
    let again = bearer.signed(&bearer.header, &bearer.claims);
    anyone.with_token(&again).get("/v1/me").await.expect(200);
    let again = HeaderValue::from_str(&format!(
        "rimeyard_page={}",
        cookie.signed(&cookie.header, &cookie.claims)
    ))
    .expect("a header");
    let district = operations
        .iter()
        .find(|operation| operation.name == "page_district")
        .expect("a page");
    call(district, &anyone, "/", ("Cookie", &again))
        .await
        .expect(200);
    assert_eq!(
        person_of(&administrator).to_string(),
        bearer.claims["sub"].as_str().expect("a person")
    );

    let stored = Stored::of(&server).await;
    let before = stored.state().await;
    let bearers = headers("Bearer ", &bearer.forged());
    let cookies = headers("rimeyard_page=", &cookie.forged());
    assert!(bearers.len() >= 25, "{} classes", bearers.len());
    let behind_the_door = operations
        .iter()
        .filter(|operation| operation.scope() != Scope::Anyone);
    for (turn, operation) in behind_the_door.enumerate() {
        let path = home.path(operation);
        let none = HeaderValue::from_static("Bearer x");
        let nothing = call(operation, &anyone, &path, ("Authorization", &none)).await;
        operation.refused(&nothing, 401);
        if !operation.page {
            assert_eq!(
                nothing.header("www-authenticate"),
                "Bearer",
                "{}",
                operation.name
            );
        }
        // All of them, where they cost least.
        let all = matches!(operation.name.as_str(), "session_me" | "page_district");
        let classes = bearers.iter().map(|class| ("Authorization", class));
        let pages = cookies
            .iter()
            .filter(|_| operation.page)
            .map(|class| ("Cookie", class));
        for (name, (source, forged)) in classes.chain(pages) {
            let one = turn % forged.len();
            for (wrong, value) in if all { &forged[..] } else { &forged[one..=one] } {
                let answer = call(operation, &anyone, &path, (name, value)).await;
                assert_eq!(
                    told(&answer),
                    told(&nothing),
                    "{} with {name}: {wrong} ({source})",
                    operation.name
                );
            }
        }
    }
    assert_eq!(stored.changed_since(&before).await, Vec::<String>::new());
}

/// Of each class the source and, of each token, what is wrong with it and the header that holds it.
type Headers = Vec<(&'static str, Vec<(String, HeaderValue)>)>;

fn headers(before: &str, forged: &Forged) -> Headers {
    let header = |class: &Class| {
        let tokens = class.tokens.iter().filter(|(_, token)| {
            // What a cookie cannot hold is none, and not the same as a wrong one.
            before == "Bearer " || !token.contains([' ', ',', ';', '"', '\t', '%'])
        });
        let headers = tokens.map(|(wrong, token)| {
            let value = HeaderValue::from_str(&format!("{before}{token}")).expect("a header");
            (wrong.clone(), value)
        });
        (class.source, headers.collect())
    };
    forged.0.iter().map(header).collect()
}

#[tokio::test]
async fn a_token_with_one_bit_changed_is_none() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let anyone = server.anonymous();
    let token = technician.token().as_bytes();
    let mut tried = 0;
    for index in 0..token.len() {
        for bit in 0..8 {
            let mut changed = [b"Bearer ", token].concat();
            changed[7 + index] ^= 1 << bit;
            // What no header can hold never arrives.
            let Ok(value) = HeaderValue::from_bytes(&changed) else {
                continue;
            };
            let request = anyone
                .request(reqwest::Method::GET, "/v1/me")
                .header("Authorization", value);
            let answer = Answer::of(request).await;
            assert_eq!(answer.status, 401, "byte {index}, bit {bit}");
            tried += 1;
        }
    }
    assert!(tried > 6 * token.len(), "{tried}");
    technician.get("/v1/me").await.expect(200);
}

#[tokio::test]
async fn a_token_counts_only_where_it_belongs() {
    // RFC 6750, 2: in the header and nowhere else.
    let server = TestServer::start().await;
    let technician = server.of_role(Role::Technician).await;
    let token = technician.token();
    let page = page_token(&server, "technician").await;
    let anyone = server.anonymous();
    let ask = |path: &str, name: &'static str, value: String| {
        Answer::of(
            anyone
                .request(reqwest::Method::GET, path)
                .header(name, value),
        )
    };
    for (path, name, value) in [
        (
            format!("/v1/me?access_token={token}"),
            "accept",
            "*/*".to_owned(),
        ),
        (
            "/v1/me".to_owned(),
            "cookie",
            format!("access_token={token}"),
        ),
        // The pages' cookie opens the pages and nothing else, and holds no other token.
        (
            "/v1/me".to_owned(),
            "cookie",
            format!("rimeyard_page={page}"),
        ),
        (
            "/v1/me".to_owned(),
            "cookie",
            format!("rimeyard_page={token}"),
        ),
        ("/".to_owned(), "cookie", format!("rimeyard_page={token}")),
        (
            "/v1/me".to_owned(),
            "authorization",
            format!("Bearer {page}"),
        ),
        ("/".to_owned(), "authorization", format!("Bearer {page}")),
        ("/v1/me".to_owned(), "authorization", token.to_owned()),
        (
            "/v1/me".to_owned(),
            "authorization",
            format!("Basic {token}"),
        ),
        (
            "/v1/me".to_owned(),
            "authorization",
            format!("Token {token}"),
        ),
        (
            "/v1/me".to_owned(),
            "authorization",
            format!("Bearer{token}"),
        ),
        (
            "/v1/me".to_owned(),
            "authorization",
            format!("Bearer Bearer {token}"),
        ),
        (
            "/v1/me".to_owned(),
            "x-authorization",
            format!("Bearer {token}"),
        ),
        (
            "/v1/me".to_owned(),
            "proxy-authorization",
            format!("Bearer {token}"),
        ),
    ] {
        let answer = ask(&path, name, value).await;
        assert_eq!(answer.status, 401, "{path} {name}");
    }
    ask("/", "cookie", format!("rimeyard_page={page}"))
        .await
        .expect(200);
    // A scheme's name has no case (RFC 9110, 11.1).
    ask("/v1/me", "authorization", format!("bearer {token}"))
        .await
        .expect(200);
}
