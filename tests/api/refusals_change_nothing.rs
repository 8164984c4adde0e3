//! What is refused has changed nothing: all that is stored is compared after every way in which each operation refuses
//! each role. And what only asks has changed nothing either.

use std::collections::BTreeMap;

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_store::Role;
use serde_json::json;

use super::examples::{body, query};
use super::objects::Everywhere;
use super::operations::{Operation, Scope, absents, filled, operations};
use super::stored::Stored;

/// Operations that leave something behind when they refuse: where, and why. This list may only shrink.
const LEAVES: [(&str, &str, &str); 1] = [(
    "imports_create",
    "import",
    "a table that cannot be read is refused while it arrives, and shown as abandoned to who brought it",
)];

/// Methods that some address does not have.
const METHODS: [&str; 5] = ["PUT", "DELETE", "PATCH", "POST", "OPTIONS"];

struct Tried<'a> {
    operation: &'a Operation,
    actor: &'a Actor,
    path: String,
    refused: usize,
}

impl Tried<'_> {
    fn expect(&mut self, answer: &Answer, status: u16, what: &str) {
        assert_eq!(
            answer.status, status,
            "{} {what}: {}",
            self.operation.name, answer.body
        );
        self.refused += 1;
    }

    /// A request with this body and these headers.
    async fn send(&self, query: &str, headers: &[(&str, &str)], body: Option<String>) -> Answer {
        let mut request = self.actor.request(
            self.operation.method.clone(),
            &format!("{}{query}", self.path),
        );
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        if let Some(body) = body {
            request = request.body(body);
        }
        Answer::of(request).await
    }

    /// Everything that is wrong with a request whoever sends it: its method, its query, its version, its body.
    async fn malformed(&mut self) {
        let operation = self.operation;
        let json = [("If-Match", "\"1\""), ("Content-Type", "application/json")];
        let answer = self
            .send(
                "?colour=red",
                &json,
                operation
                    .has_body
                    .then(|| body(&operation.name).to_string()),
            )
            .await;
        self.expect(&answer, 400, "an unknown parameter");
        if operation.method == Method::PATCH {
            let plain = [("Content-Type", "application/json")];
            let answer = self.send("", &plain, Some("{}".to_owned())).await;
            self.expect(&answer, 428, "no version");
            for etag in ["\"999999\"", "*", "W/\"1\""] {
                let stale = [("Content-Type", "application/json"), ("If-Match", etag)];
                let answer = self.send("", &stale, Some("{}".to_owned())).await;
                self.expect(&answer, 412, "another version");
            }
        }
        if !operation.has_body || operation.page {
            return;
        }
        let query = query(&operation.name);
        for kind in ["text/plain", "application/xml"] {
            let answer = self
                .send(
                    query,
                    &[("If-Match", "\"1\""), ("Content-Type", kind)],
                    Some("{}".to_owned()),
                )
                .await;
            self.expect(&answer, 415, kind);
        }
        if operation.takes_table {
            for table in [
                "",
                "colour\nred\n",
                "tag,read at,hours\n\"x",
                "tag,tag,read at,hours\n",
            ] {
                let answer = self
                    .send(
                        query,
                        &[("Content-Type", "text/csv")],
                        Some(table.to_owned()),
                    )
                    .await;
                self.expect(&answer, 422, table);
            }
            return;
        }
        for (text, status) in [
            ("{", 400),
            ("", 400),
            ("{\"colour\": \"red\"}", 422),
            ("[]", 422),
            ("null", 422),
        ] {
            let answer = self.send(query, &json, Some(text.to_owned())).await;
            self.expect(&answer, status, text);
        }
        if operation.writes() {
            let key = "k".repeat(201);
            let keyed = [json[0], json[1], ("Idempotency-Key", key.as_str())];
            let answer = self
                .send(query, &keyed, Some(body(&operation.name).to_string()))
                .await;
            self.expect(&answer, 400, "a key that is too long");
        }
    }

    /// More than may be sent.
    async fn too_large(&mut self) {
        let operation = self.operation;
        if operation.has_body && !operation.takes_table && !operation.page {
            let json = [("If-Match", "\"1\""), ("Content-Type", "application/json")];
            let text = format!("{{\"x\": \"{}\"}}", "x".repeat(1024 * 1024));
            let answer = self.send("", &json, Some(text)).await;
            self.expect(&answer, 413, "too large");
        }
    }
}

#[tokio::test]
async fn nothing_that_is_refused_leaves_a_trace() {
    let server =
        TestServer::start_with(|settings| settings.wrong_passwords_per_email = 10_000).await;
    let operations = operations(&server).await;
    let objects = Everywhere::make(&server, &operations).await;
    let mut actors = BTreeMap::new();
    for role in Role::ALL {
        actors.insert(role, server.of_role(role).await);
    }
    let nobody = [
        server.anonymous(),
        server
            .anonymous()
            .with_token("eyJhbGciOiJFZERTQSJ9.e30.AAAA"),
    ];
    let stored = Stored::of(&server).await;
    let mut before = stored.state().await;
    let mut left = BTreeMap::new();
    for operation in &operations {
        let path = objects.home.path(operation);
        let mut may = false;
        for (role, actor) in &actors {
            let mut tried = Tried {
                operation,
                actor,
                path: path.clone(),
                refused: 0,
            };
            if *role == Role::ALL[0] {
                for nobody in nobody.iter().filter(|_| operation.scope() != Scope::Anyone) {
                    let answer = operation.call(nobody, &path).await;
                    tried.expect(&answer, 401, "by nobody");
                }
                for method in METHODS {
                    let taken = |other: &Operation| {
                        other.path == operation.path && other.method.as_str() == method
                    };
                    if !operations.iter().any(taken) {
                        let method = Method::from_bytes(method.as_bytes()).expect("a method");
                        let request = actor.request(method, &path).json(&json!({}));
                        tried.expect(&Answer::of(request).await, 405, "by another method");
                    }
                }
            }
            if !operation.may(*role) {
                let answer = operation.call(actor, &path).await;
                tried.expect(&answer, 403, "by a role that may not");
            } else {
                tried.malformed().await;
                if !may {
                    tried.too_large().await;
                    may = true;
                }
                if !operation.parameters.is_empty() {
                    let nowhere = filled(operation, &absents(operation));
                    let answer = operation.call(actor, &nowhere).await;
                    tried.expect(&answer, 404, "of nothing");
                }
                let sees_far = matches!(role, Role::DistrictManager | Role::Administrator);
                for (index, name) in operation.parameters.iter().enumerate() {
                    let object = objects.home.named(name);
                    for (hidden, others) in [
                        (true, &objects.foreign),
                        (!sees_far && object.of_a_depot, &objects.far),
                    ] {
                        if object.id && hidden {
                            let elsewhere = objects.home.path_but(operation, index, others);
                            let answer = operation.call(actor, &elsewhere).await;
                            tried.expect(&answer, 404, "of somebody else");
                        }
                    }
                }
            }
            assert!(tried.refused > 0, "{} by the {role}", operation.name);
            let changed = stored.changed_since(&before).await;
            if changed.is_empty() {
                continue;
            }
            let excepted = LEAVES
                .iter()
                .any(|(name, table, _)| *name == operation.name && changed == [*table]);
            assert!(
                excepted,
                "{} by the {role} was refused and changed {changed:?}",
                operation.name
            );
            left.insert(operation.name.as_str(), changed);
            before = stored.state().await;
        }
    }
    for (name, table, reason) in LEAVES {
        assert!(
            left.contains_key(name),
            "{name} leaves nothing in {table}: it need not be an exception ({reason})"
        );
    }
}

#[tokio::test]
async fn a_sign_in_that_is_refused_leaves_no_trace() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let people = administrator.get("/v1/people").await.expect(200).json();
    let items = people["items"].as_array().expect("items");
    let operator = items
        .iter()
        .find(|person| person["role"] == "operator")
        .expect("an operator");
    let path = format!("/v1/people/{}", operator["id"].as_str().expect("an id"));
    administrator
        .patch(&path, "\"1\"", &json!({"active": false}))
        .await
        .expect(200);
    let stored = Stored::of(&server).await;
    let before = stored.state().await;
    let anyone = server.anonymous();
    for (email, password) in [
        // The right password of somebody who has left.
        ("operator@ours.example", rimeyard_harness::PASSWORD),
        ("operator@ours.example", "wrong password"),
        ("technician@ours.example", "wrong password"),
        ("nobody@ours.example", rimeyard_harness::PASSWORD),
        ("nothing like an address", rimeyard_harness::PASSWORD),
    ] {
        let body = json!({"email": email, "password": password});
        anyone.post("/v1/sign-in", &body).await.problem(401);
        let form = format!(
            "email={}&password={}",
            email.replace('@', "%40"),
            password.replace(' ', "+")
        );
        let request = anyone
            .request(Method::POST, "/sign-in")
            .header("Content-Type", "application/x-www-form-urlencoded")
            .body(form);
        Answer::of(request).await.expect(401);
        assert_eq!(
            stored.changed_since(&before).await,
            Vec::<String>::new(),
            "{email}"
        );
    }
    for token in ["", "x", "AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA"] {
        anyone
            .post("/v1/sign-in/refresh", &json!({"refresh_token": token}))
            .await
            .problem(401);
    }
    assert_eq!(stored.changed_since(&before).await, Vec::<String>::new());
}

#[tokio::test]
async fn what_only_asks_changes_nothing() {
    // Safe methods: RFC 9110, 9.2.1.
    let server = TestServer::start().await;
    let operations = operations(&server).await;
    let objects = Everywhere::make(&server, &operations).await;
    let administrator = server.administrator().await;
    let stored = Stored::of(&server).await;
    let before = stored.state().await;
    for operation in operations.iter().filter(|operation| !operation.writes()) {
        let answer = operation
            .call(&administrator, &objects.home.path(operation))
            .await;
        assert!(answer.status < 500, "{}: {}", operation.name, answer.body);
        let changed = stored.changed_since(&before).await;
        assert!(changed.is_empty(), "{} changed {changed:?}", operation.name);
    }
}
