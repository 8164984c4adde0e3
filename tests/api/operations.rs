//! Every operation of the document, as the tests that go over all of them call it. It is the document that the server
//! itself serves, so that no operation can be left out.

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_store::Role;
use serde_json::Value;

use super::examples::{absent, body, query};

/// An operation as the document has it.
pub struct Operation {
    pub name: String,
    pub tag: String,
    pub summary: String,
    pub method: Method,
    pub path: String,
    /// The parameters of the path.
    pub parameters: Vec<String>,
    pub has_body: bool,
    /// Whether that is a table.
    pub takes_table: bool,
    /// Whether it is a page, whose problems are pages too.
    pub page: bool,
    /// `None`: anyone.
    pub roles: Option<Vec<Role>>,
}

/// Whose the things are that an operation shows or changes. The walk holds each operation to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Those of depots: of the ones that are granted.
    Depot,
    /// The organisation's, shared by everyone in it.
    Organisation,
    /// One's own session.
    Oneself,
    /// Nobody's: it works out what it is given and keeps nothing.
    Nobody,
    /// It is open to whoever comes.
    Anyone,
}

impl Operation {
    /// What is not said to be otherwise belongs to depots.
    pub fn scope(&self) -> Scope {
        match (self.tag.as_str(), self.name.as_str()) {
            _ if self.roles.is_none() => Scope::Anyone,
            ("session", _) | (_, "page_sign_out" | "page_set_units") => Scope::Oneself,
            ("calculations", _) => Scope::Nobody,
            (
                "checklists" | "checklist versions" | "keys" | "learned" | "models" | "parts list"
                | "people" | "sheets",
                _,
            )
            | (_, "depots_create") => Scope::Organisation,
            _ => Scope::Depot,
        }
    }

    /// Whether it is meant to leave something behind. What is asked by POST, because the question is long, is not, nor is
    /// what a browser alone remembers.
    pub fn writes(&self) -> bool {
        let asks = matches!(
            self.name.as_str(),
            "sync_pull" | "what_if_ask" | "page_set_units"
        );
        self.method != Method::GET && self.scope() != Scope::Nobody && !asks
    }

    /// Whether it shows what is stored.
    pub fn reads(&self) -> bool {
        !self.writes() && self.scope() != Scope::Nobody && self.name != "page_set_units"
    }

    pub async fn call(&self, actor: &Actor, path: &str) -> Answer {
        self.call_with(actor, path, &body(&self.name), "\"1\"")
            .await
    }

    pub async fn call_with(&self, actor: &Actor, path: &str, body: &Value, etag: &str) -> Answer {
        let path = format!("{path}{}", query(&self.name));
        let mut request = actor.request(self.method.clone(), &path);
        if self.method == Method::PATCH {
            request = request.header("If-Match", etag);
        }
        if self.takes_table {
            let table = body.as_str().unwrap_or_default().to_owned();
            request = request.header("Content-Type", "text/csv").body(table);
        } else if self.page && self.has_body {
            let fields = body.as_str().unwrap_or_default().to_owned();
            let form = "application/x-www-form-urlencoded";
            request = request.header("Content-Type", form).body(fields);
        } else if self.has_body {
            request = request.json(body);
        }
        Answer::of(request).await
    }

    /// Checks that it is a problem of this status, as problem details or as a page.
    #[track_caller]
    pub fn refused(&self, answer: &Answer, status: u16) {
        if self.page {
            assert_eq!(answer.status, status, "{}", self.name);
            assert_eq!(answer.header("content-type"), "text/html; charset=utf-8");
        } else {
            answer.problem(status);
        }
    }

    pub fn may(&self, role: Role) -> bool {
        self.roles
            .as_ref()
            .is_none_or(|roles| roles.contains(&role))
    }
}

/// All of them.
pub async fn operations(server: &TestServer) -> Vec<Operation> {
    let document = server
        .anonymous()
        .get("/openapi.json")
        .await
        .expect(200)
        .json();
    let text = |value: &Value| value.as_str().expect("a text").to_owned();
    let mut operations = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let roles = operation["x-roles"].as_array().map(|roles| {
                roles
                    .iter()
                    .map(|role| role.as_str().unwrap().parse().expect("a role"))
                    .collect()
            });
            operations.push(Operation {
                name: text(&operation["operationId"]),
                tag: text(&operation["tags"][0]),
                summary: text(&operation["summary"]),
                method: method.to_uppercase().parse().unwrap(),
                path: path.clone(),
                parameters: path
                    .split('/')
                    .filter_map(|part| Some(part.strip_prefix('{')?.strip_suffix('}')?.to_owned()))
                    .collect(),
                has_body: operation["requestBody"] != Value::Null,
                takes_table: operation["requestBody"]["content"]["text/csv"] != Value::Null,
                page: operation["tags"][0] == "page",
                roles,
            });
        }
    }
    operations
}

/// The path with these values for its parameters, in order.
pub fn filled(operation: &Operation, values: &[String]) -> String {
    operation
        .parameters
        .iter()
        .zip(values)
        .fold(operation.path.clone(), |path, (name, value)| {
            path.replace(&format!("{{{name}}}"), value)
        })
}

/// For each parameter of its path what never exists there.
pub fn absents(operation: &Operation) -> Vec<String> {
    operation
        .parameters
        .iter()
        .map(|name| absent(name).to_owned())
        .collect()
}
