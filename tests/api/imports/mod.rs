//! /v1/imports

mod arriving;
mod faults;
mod scope;
mod weather;
mod written;

use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_worker::{Settings, imports};
use serde_json::Value;

/// Brings a table and lets a worker do what there is to do with it.
pub async fn bring(server: &TestServer, actor: &Actor, query: &str, table: &str) -> Value {
    let path = format!("/v1/imports?{query}");
    let id = actor
        .post_table(&path, table.to_owned())
        .await
        .expect(202)
        .id();
    worked_off(server).await;
    seen(actor, &id).await
}

/// An import as it stands.
pub async fn seen(actor: &Actor, id: &str) -> Value {
    actor
        .get(&format!("/v1/imports/{id}"))
        .await
        .expect(200)
        .json()
}

/// A worker has nothing left to import, and nothing failed.
pub async fn worked_off(server: &TestServer) {
    let done = imports::drain(&server.database, &Settings::default()).await;
    assert_eq!(done.expect("drained").failed, 0);
}

/// Has an import applied.
pub async fn apply(actor: &Actor, id: &str) -> Answer {
    let path = format!("/v1/imports/{id}/apply");
    actor.post(&path, &serde_json::json!({})).await
}

/// The faults of an import: row and field.
pub fn faults(import: &Value) -> Vec<(i64, String)> {
    let faults = import["first_faults"].as_array().expect("faults");
    faults
        .iter()
        .map(|fault| {
            assert!(!fault["problem"].as_str().expect("a problem").is_empty());
            let field = fault["field"].as_str().expect("a field").to_owned();
            (fault["row"].as_i64().expect("a row"), field)
        })
        .collect()
}

/// The tag of a unit.
pub async fn tag(actor: &Actor, unit: &str) -> String {
    let unit = actor
        .get(&format!("/v1/units/{unit}"))
        .await
        .expect(200)
        .json();
    unit["tag"].as_str().expect("a tag").to_owned()
}
