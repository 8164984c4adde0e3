//! /v1/inspections
//!
//! Limits are those of the default sheet of the two-stage thrower, where the source stands beside each. Those leaned on
//! here: skid shoe unserviceable at 1.5 mm, marginal at 3 mm (no published limit; district default); an auger that
//! creeps once its control is released is out of service (operator manuals; ISO 8437-2, from memory).

mod at_once;
mod corrections;
mod lists;
mod refusals;
mod tags;
mod verdicts;

use rimeyard_harness::Actor;
use serde_json::{Value, json};

use super::fleet::days_ago;

/// An inspection of a unit so many days ago.
fn inspection(unit: &str, days: i64, readings: Value) -> Value {
    json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "readings": readings})
}

fn with(mut body: Value, change: Value) -> Value {
    body.as_object_mut()
        .unwrap()
        .extend(change.as_object().unwrap().clone());
    body
}

fn skid(value: f64) -> Value {
    json!([{"check": "skid_thickness", "value": value, "unit": "mm"}])
}

fn auger_stops(works: bool) -> Value {
    json!([{"check": "auger_stops", "works": works}])
}

async fn post(actor: &Actor, body: Value) -> Value {
    actor
        .post("/v1/inspections", &body)
        .await
        .expect(201)
        .json()
}

/// What a list has, by its one filter.
async fn items(actor: &Actor, path: &str) -> Vec<Value> {
    actor.get(path).await.expect(200).json()["items"]
        .as_array()
        .unwrap()
        .clone()
}

async fn open_findings(actor: &Actor, unit: &str) -> Vec<Value> {
    items(actor, &format!("/v1/findings?unit_id={unit}&open=true")).await
}

async fn hanging(actor: &Actor, unit: &str) -> Vec<Value> {
    items(actor, &format!("/v1/holds?unit_id={unit}&open=true")).await
}
