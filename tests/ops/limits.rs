//! Whoever is slow, large or many gets an end in bounded time, and the others go on.

use std::net::SocketAddr;
use std::time::Duration;

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer, client};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

/// Longer than anything here may take.
const BOUND: Duration = Duration::from_secs(90);

/// Sends `first`, then `drip` again and again, slowly, until the server closes; what it answered.
async fn drip(address: SocketAddr, first: &str, drip: &'static [u8]) -> String {
    let stream = TcpStream::connect(address).await.expect("connected");
    let (mut read, mut write) = stream.into_split();
    write.write_all(first.as_bytes()).await.expect("sent");
    let dripping = tokio::spawn(async move {
        while write.write_all(drip).await.is_ok() {
            tokio::time::sleep(Duration::from_millis(500)).await;
        }
    });
    let mut answer = Vec::new();
    let closed = tokio::time::timeout(BOUND, read.read_to_end(&mut answer)).await;
    dripping.abort();
    // A reset after the answer is as good an end.
    let _ = closed.expect("an end in bounded time");
    String::from_utf8_lossy(&answer).into_owned()
}

#[track_caller]
fn status(answer: &str, wanted: u16) {
    assert!(
        answer.starts_with(&format!("HTTP/1.1 {wanted} ")),
        "not {wanted}: {answer:?}"
    );
}

#[tokio::test]
async fn the_slow_are_answered_408_and_the_many_do_not_stop_the_others() {
    let server = TestServer::start().await;
    let address = server.address;
    // So many that say nothing at all. Each holds a socket and no more.
    let mut idle = Vec::new();
    for _ in 0..300 {
        idle.push(TcpStream::connect(address).await.expect("connected"));
    }
    let post = |path: &str, kind: &str| {
        format!(
            "POST {path} HTTP/1.1\r\nHost: x\r\nContent-Type: {kind}\r\nContent-Length: 1000\r\n\r\n"
        )
    };
    let (sign_in, form) = (
        post("/v1/sign-in", "application/json"),
        post("/sign-in", "application/x-www-form-urlencoded"),
    );
    let (head, body, form, others) = tokio::join!(
        drip(
            address,
            "GET /health/live HTTP/1.1\r\nHost: x\r\n",
            b"X-Slow: 1\r\n"
        ),
        drip(address, &sign_in, b" "),
        drip(address, &form, b"a"),
        async {
            // Meanwhile, everyone else is served.
            for _ in 0..20 {
                let technician = server.technician().await;
                technician.get("/v1/me").await.expect(200);
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        }
    );
    let () = others;
    status(&head, 408);
    status(&body, 408);
    assert!(body.contains("application/problem+json"), "{body}");
    status(&form, 408);
    for mut stream in idle {
        let mut rest = Vec::new();
        let closed = tokio::time::timeout(BOUND, stream.read_to_end(&mut rest)).await;
        let _ = closed.expect("who says nothing is not kept");
    }
    server.technician().await.get("/v1/me").await.expect(200);
}

#[tokio::test]
async fn what_is_too_large_is_told_so() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let long = format!("/v1/units?tag={}", "x".repeat(9_000));
    anyone.get(&long).await.problem(414);
    let heavy = anyone
        .request(Method::GET, "/health/live")
        .header("X-Heavy", "x".repeat(40_000));
    Answer::of(heavy).await.problem(431);
    // Beyond what the listener reads at all.
    let head = format!(
        "GET / HTTP/1.1\r\nHost: x\r\nX-Heavy: {}\r\n",
        "x".repeat(200_000)
    );
    status(&drip(server.address, &head, b"x").await, 431);
    let much = anyone
        .request(Method::POST, "/v1/sign-in")
        .header("Content-Type", "application/json")
        .body(format!("{{\"email\": \"{}\"}}", "x".repeat(1024 * 1024)));
    Answer::of(much).await.problem(413);
    let form = anyone
        .request(Method::POST, "/sign-in")
        .header("Content-Type", "application/x-www-form-urlencoded")
        .body(format!("email={}", "x".repeat(20_000)));
    Answer::of(form).await.expect(413);
    anyone.get("/health/live").await.expect(200);
}

#[tokio::test]
async fn every_answer_tells_browsers_to_be_careful() {
    let server = TestServer::start().await;
    let http = client();
    let technician = server.technician().await;
    let at = |path: &str| format!("http://{}{path}", server.address);
    let answers = [
        http.get(at("/")),
        http.get(at("/docs/")),
        http.get(at("/docs/swagger-ui.css")),
        http.get(at("/openapi.json")),
        http.get(at("/health/live")),
        http.get(at("/no/such/address")),
        http.get(at("/v1/units")),
        http.delete(at("/v1/units")),
        http.post(at("/v1/sign-in")).body("x"),
        http.get(at("/v1/units?colour=red"))
            .bearer_auth(technician.token()),
        http.get(at("/v1/units")).bearer_auth(technician.token()),
        http.get(at(&format!("/v1/units?tag={}", "x".repeat(9_000)))),
        http.head(at("/v1/units")),
        http.request(Method::OPTIONS, at("/v1/units")),
    ];
    for request in answers {
        let answer = request.send().await.expect("an answer");
        let what = format!("{} {}", answer.status(), answer.url().path());
        let header = |name: &str| {
            let value = answer.headers().get(name);
            let value = value.unwrap_or_else(|| panic!("{what} has no {name}"));
            value.to_str().expect("ASCII").to_owned()
        };
        assert_eq!(header("x-content-type-options"), "nosniff", "{what}");
        assert_eq!(header("x-frame-options"), "DENY", "{what}");
        assert_eq!(header("referrer-policy"), "same-origin", "{what}");
        assert_eq!(
            header("cross-origin-opener-policy"),
            "same-origin",
            "{what}"
        );
        assert_eq!(
            header("cross-origin-resource-policy"),
            "same-origin",
            "{what}"
        );
        assert!(header("permissions-policy").contains("camera=()"), "{what}");
        let policy = header("content-security-policy");
        assert!(
            policy.contains("frame-ancestors 'none'"),
            "{what}: {policy}"
        );
        assert!(
            uuid::Uuid::parse_str(&header("x-request-id")).is_ok(),
            "{what}"
        );
        assert!(!header("cache-control").is_empty(), "{what}");
    }
}
