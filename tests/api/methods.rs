//! Every method on every address of the document: what is not documented there is 405 and says what is (RFC 9110,
//! 15.5.6), HEAD goes where GET goes (9.3.2), and nothing is ever a 5xx.

use std::collections::{BTreeMap, BTreeSet};

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpStream;

use super::objects::Objects;
use super::operations::{Scope, operations};

/// Those of RFC 9110, of RFC 5789 (PATCH), some of RFC 4918, and some that nobody has defined. All in capitals and not:
/// a method is told by its case.
const METHODS: [&str; 16] = [
    "GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "CONNECT", "OPTIONS", "TRACE", "PROPFIND",
    "MKCOL", "LOCK", "QUERY", "FETCH", "get", "X-NEW",
];

/// What comes back for a request in bytes, head and all: no client is in between that might mend it.
async fn raw(server: &TestServer, method: &str, path: &str, authorization: &str) -> String {
    let request = format!(
        "{method} {path} HTTP/1.1\r\nHost: rimeyard.example\r\n{authorization}Content-Length: 0\r\nConnection: close\r\n\r\n"
    );
    let mut stream = TcpStream::connect(server.address).await.expect("connected");
    stream.write_all(request.as_bytes()).await.expect("sent");
    let mut answer = Vec::new();
    // Not to the end: after CONNECT a server may wait for what is sent through.
    while !is_whole(&String::from_utf8_lossy(&answer), method) {
        let read = stream.read_buf(&mut answer).await.expect("an answer");
        assert!(read > 0, "{method} {path}: it breaks off");
    }
    String::from_utf8_lossy(&answer).into_owned()
}

/// Whether the head is here and, where its length is told, the body.
fn is_whole(answer: &str, method: &str) -> bool {
    let Some((_, body)) = answer.split_once("\r\n\r\n") else {
        return false;
    };
    let length = header(answer, "content-length").and_then(|length| length.parse().ok());
    method == "HEAD" || body.len() >= length.unwrap_or(0)
}

fn status(answer: &str) -> u16 {
    let status = answer
        .strip_prefix("HTTP/1.1 ")
        .and_then(|rest| rest.get(..3));
    status
        .and_then(|status| status.parse().ok())
        .unwrap_or_else(|| panic!("a status in {answer:?}"))
}

fn header<'a>(answer: &'a str, name: &str) -> Option<&'a str> {
    let head = answer.split("\r\n\r\n").next()?;
    head.lines().find_map(|line| {
        let (found, value) = line.split_once(':')?;
        found.eq_ignore_ascii_case(name).then(|| value.trim())
    })
}

#[tokio::test]
async fn a_method_that_is_not_documented_is_405_and_says_which_are() {
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    let administrator = server.administrator().await;
    let home = server
        .with_worker(async || {
            Objects::make(&operations, &administrator, &server.world.ours.home).await
        })
        .await;
    let mut addresses: BTreeMap<String, BTreeSet<&str>> = BTreeMap::new();
    for operation in &operations {
        let methods = addresses.entry(home.path(operation)).or_default();
        methods.insert(operation.method.as_str());
        if operation.method == Method::GET {
            methods.insert("HEAD");
        }
    }
    for (path, allowed) in &addresses {
        for method in METHODS {
            // With a token and without: the address tells the same.
            for who in [
                String::new(),
                format!("Authorization: Bearer {}\r\n", administrator.token()),
            ] {
                let answer = raw(&server, method, path, &who).await;
                let status = status(&answer);
                assert!(status < 500, "{method} {path}: {answer}");
                if allowed.contains(method) {
                    assert_ne!(status, 405, "{method} {path}");
                    continue;
                }
                assert_eq!(status, 405, "{method} {path}: {answer}");
                let told: BTreeSet<&str> = header(&answer, "allow")
                    .unwrap_or_default()
                    .split(", ")
                    .collect();
                assert_eq!(&told, allowed, "{method} {path}");
                assert!(
                    !answer.contains(administrator.token()),
                    "TRACE gives nothing back (RFC 9110, 9.3.8)"
                );
            }
        }
    }
    assert!(addresses.len() > 60);
}

#[tokio::test]
async fn head_is_get_without_its_body_and_behind_the_same_door() {
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    let administrator = server.administrator().await;
    let home = server
        .with_worker(async || {
            Objects::make(&operations, &administrator, &server.world.ours.home).await
        })
        .await;
    for operation in operations
        .iter()
        .filter(|operation| operation.method == Method::GET)
    {
        let path = home.path(operation);
        for actor in [&administrator, &server.anonymous()] {
            let get = actor.get(&path).await;
            let head = Answer::of(actor.request(Method::HEAD, &path)).await;
            assert_eq!(
                (head.status, head.body.as_str()),
                (get.status, ""),
                "{path}"
            );
            for name in ["etag", "content-type", "www-authenticate", "cache-control"] {
                assert_eq!(head.header(name), get.header(name), "{path} {name}");
            }
        }
        let nobody = server.anonymous().get(&path).await.status;
        let shut = operation.scope() != Scope::Anyone;
        assert_eq!(nobody == 401, shut, "{path}: {nobody}");
    }
}
