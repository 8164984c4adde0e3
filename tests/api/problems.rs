//! Whatever is wrong with a request is told clearly, stores nothing and is never a 5xx.

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::json;

#[tokio::test]
async fn what_is_no_json_is_told_apart_from_what_is_wrong() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let send = |body: Vec<u8>, kind: &'static str| {
        Answer::of(
            manager
                .request(Method::POST, "/v1/depots")
                .header("content-type", kind)
                .body(body),
        )
    };
    for body in [
        "",
        "{",
        "{\"name\": }",
        "{} {}",
        "nonsense",
        "{\"name\": \"\u{1}\"}",
        "{\"latitude\": 1e999}",
    ] {
        send(body.into(), "application/json").await.problem(400);
    }
    send(vec![b'[', b'"', 0xff, b'"', b']'], "application/json")
        .await
        .problem(400);
    send("[".repeat(100_000).into(), "application/json")
        .await
        .problem(400);
    for kind in [
        "text/plain",
        "application/x-www-form-urlencoded",
        "multipart/form-data",
        "application/jsonp",
    ] {
        send(b"{}".to_vec(), kind).await.problem(415);
    }
    send(b"{}".to_vec(), "application/json; charset=utf-8")
        .await
        .problem(422);
    Answer::of(manager.request(Method::POST, "/v1/depots").body("{}"))
        .await
        .problem(415);
    let compressed = manager
        .request(Method::POST, "/v1/depots")
        .header("content-encoding", "gzip")
        .json(&json!({}));
    Answer::of(compressed).await.problem(415);
    for body in ["[]", "null", "7", "\"text\""] {
        assert_eq!(
            send(body.into(), "application/json").await.problem(422),
            [""]
        );
    }
    assert_eq!(
        send(
            b"{\"name\": \"a\", \"name\": \"b\"}".to_vec(),
            "application/json"
        )
        .await
        .problem(422),
        ["name"]
    );
    assert_eq!(
        manager.get("/v1/depots").await.json()["items"]
            .as_array()
            .unwrap()
            .len(),
        2
    );
}

#[tokio::test]
async fn a_body_may_have_a_mebibyte_and_not_more() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let of_size = |bytes: usize| format!("{{\"name\": \"{}\"}}", "x".repeat(bytes - 12));
    for (bytes, status) in [
        (1024 * 1024, 422),
        (1024 * 1024 + 1, 413),
        (10_000_000, 413),
    ] {
        let body = of_size(bytes);
        assert_eq!(body.len(), bytes);
        let request = manager
            .request(Method::POST, "/v1/depots")
            .header("content-type", "application/json")
            .body(body);
        Answer::of(request).await.problem(status);
    }
    // Also where its length is not told beforehand.
    let chunks = (0..20).map(|_| Ok::<_, std::io::Error>("x".repeat(100_000)));
    let body = reqwest::Body::wrap_stream(futures::stream::iter(chunks));
    let request = manager
        .request(Method::POST, "/v1/depots")
        .header("content-type", "application/json")
        .body(body);
    Answer::of(request).await.problem(413);
}

#[tokio::test]
async fn nul_characters_are_refused_wherever_they_stand() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let nul = |body| manager.post("/v1/depots", body);
    assert!(nul(&json!({"name": "a\0b"})).await.status == 422);
    let path = format!("/v1/depots/{}", server.world.ours.home.id);
    assert_eq!(
        manager
            .patch(&path, "\"1\"", &json!({"name": "a\0b"}))
            .await
            .problem(422),
        ["name"]
    );
    let duty =
        json!({"name": "x", "work": "clear", "class": "a\0", "area_m2": 1, "clear_within_h": 1});
    assert_eq!(
        manager
            .patch(&path, "\"1\"", &json!({"duties": [duty]}))
            .await
            .problem(422),
        ["duties[0].class"]
    );
    assert_eq!(
        manager.get("/v1/depots?name=a%00b").await.problem(400),
        ["name"]
    );
    assert_eq!(
        manager.get("/v1/depots?na%00me=a").await.problem(400),
        ["na\\0me"]
    );
    manager.get("/v1/depots/%00").await.problem(404);
    manager.get("/v1/%00").await.problem(404);
    // Written out it is no NUL.
    manager
        .patch(&path, "\"1\"", &json!({"name": "a\\u0000b"}))
        .await
        .expect(200);
}

#[tokio::test]
async fn a_query_parameter_that_is_not_known_or_wrong_is_named() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    for (query, field) in [
        ("limit=0", "limit"),
        ("limit=201", "limit"),
        ("limit=-1", "limit"),
        ("limit=ten", "limit"),
        ("limit=", "limit"),
        ("limit=1&limit=2", "limit"),
        ("cursor=x", "cursor"),
        ("colour=red", "colour"),
        ("Limit=5", "Limit"),
    ] {
        assert_eq!(
            manager
                .get(&format!("/v1/depots?{query}"))
                .await
                .problem(400),
            [field],
            "{query}"
        );
    }
    // Years that a timestamp can write and Postgres cannot keep.
    for (list, field) in [
        ("storms", "from"),
        ("storms", "to"),
        ("inspections", "performed_from"),
        ("inspections", "performed_to"),
        ("meter-readings", "read_from"),
        ("meter-readings", "read_to"),
    ] {
        for at in ["-009000-01-01T00:00:00Z", "9000-01-01T00:00:00Z", "today"] {
            let answer = manager.get(&format!("/v1/{list}?{field}={at}")).await;
            assert_eq!(answer.problem(400), [field], "{list} {at}");
        }
    }
    let home = format!("/v1/depots/{}", server.world.ours.home.id);
    assert_eq!(
        manager
            .get(&format!("{home}?expand=units"))
            .await
            .problem(400),
        ["expand"]
    );
    assert_eq!(
        server
            .anonymous()
            .get("/health/live?verbose=1")
            .await
            .problem(400),
        ["verbose"]
    );
}

#[tokio::test]
async fn an_address_that_leads_nowhere_is_404_and_a_method_that_is_not_there_405() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    for path in [
        "/v1/nothing",
        "/v1/depots/",
        "/v2/depots",
        "/v1/depots/x/y",
        "/.env",
        "/docs/nothing.js/x",
    ] {
        let answer = manager.get(path).await;
        assert_eq!(answer.status, 404, "{path}");
    }
    manager.get("/v1/nothing").await.problem(404);
    let absent = manager
        .get("/v1/depots/0198c0de-0000-7000-8000-000000000000")
        .await;
    for path in [
        "/v1/depots/5",
        "/v1/depots/x'--",
        "/v1/depots/%F0%9F%98%80",
        "/v1/nothing",
    ] {
        let answer = manager.get(path).await;
        assert_eq!((answer.status, &answer.body), (404, &absent.body), "{path}");
    }
    let answer = Answer::of(manager.request(Method::DELETE, "/v1/depots")).await;
    answer.problem(405);
    assert_eq!(answer.header("allow"), "GET, HEAD, POST");
    // HEAD goes wherever GET goes.
    let head = Answer::of(manager.request(Method::HEAD, "/v1/depots"))
        .await
        .expect(200);
    assert_eq!(head.body, "");
    assert_eq!(head.etag(), manager.get("/v1/depots").await.etag());
}

#[tokio::test]
async fn every_answer_has_an_id_and_the_headers_that_make_browsers_careful() {
    let server = TestServer::start().await;
    let mut ids = std::collections::HashSet::new();
    for path in [
        "/v1/depots",
        "/health/live",
        "/nothing",
        "/docs/",
        "/openapi.json",
    ] {
        let answer = server.anonymous().get(path).await;
        let id: uuid::Uuid = answer.header("x-request-id").parse().expect("an id");
        assert!(ids.insert(id), "one of its own");
        assert_eq!(answer.header("x-content-type-options"), "nosniff");
        assert!(
            answer
                .header("content-security-policy")
                .contains("frame-ancestors 'none'")
        );
        assert!(
            !answer.body.contains(&id.to_string()),
            "only the header tells it"
        );
    }
}

#[tokio::test]
async fn no_etag_of_ours_matches_no_version() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let home = format!("/v1/depots/{}", server.world.ours.home.id);
    for etag in [
        "*",
        "\"0\"",
        "\"one\"",
        "1",
        "W/\"1\"",
        "\"1\", \"2\"",
        "\"99999999999999999999\"",
    ] {
        manager
            .patch(&home, etag, &json!({"name": "x"}))
            .await
            .problem(412);
    }
}
