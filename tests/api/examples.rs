//! An object for every path parameter, and a body for every operation that needs one: what the walk over the document
//! is fed with. A noun that is added adds its parameter here; the walk fails until it does.

use rimeyard_harness::machines::sound_readings;
use rimeyard_harness::{Actor, Depot, PASSWORD, eventually};
use rimeyard_rules::sheet::{two_stage_thrower, two_stage_thrower_checklist};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, days_ago, posted};
use super::phone::{Phone, code};

/// An object to put in a path.
pub struct Example {
    /// What stands in the path.
    pub value: String,
    /// Whether it belongs to a depot, so that who is not granted that depot must not see it.
    pub of_a_depot: bool,
    /// Whether it is an object's id: a version or a kind belongs to nobody, so there is nothing to hide.
    pub id: bool,
}

/// An object for this path parameter, at this depot, made by this administrator.
pub async fn example(name: &str, administrator: &Actor, depot: &Depot) -> Example {
    match name {
        "depot_id" => Example {
            value: depot.id.to_string(),
            of_a_depot: true,
            id: true,
        },
        "unit_id" => of_a_depot(&Fleet::any_at(administrator, depot).await.unit),
        "part_id" => {
            let unit = Fleet::any_at(administrator, depot).await.unit;
            of_a_depot(&first(administrator, &format!("/v1/units/{unit}/parts"), "id").await)
        }
        "listed_part_id" => of_all(&posted(administrator, "/v1/parts", &listed_part()).await),
        "model_id" => {
            let unit = Fleet::any_at(administrator, depot).await.unit;
            of_all(&shown(administrator, &format!("/v1/units/{unit}"), "model_id").await)
        }
        "checklist_id" => {
            let unit = Fleet::any_at(administrator, depot).await.unit;
            let model = shown(administrator, &format!("/v1/units/{unit}"), "model_id").await;
            of_all(
                &shown(
                    administrator,
                    &format!("/v1/models/{model}"),
                    "checklist_id",
                )
                .await,
            )
        }
        "key_id" => of_all(&posted(administrator, "/v1/keys", &key(administrator).await).await),
        "device_id" => of_a_depot(&enrolled(administrator, depot).await.1),
        "unsent_id" => {
            let (phone, device) = enrolled(administrator, depot).await;
            let path = format!("/v1/devices/{device}/revoke");
            administrator.post(&path, &lost()).await.expect(200);
            let id = Uuid::now_v7();
            let entries = json!({"entries": [{"id": id, "what": "a fault", "body": {}}]});
            let sent = phone.post(administrator, "/v1/devices/unsent", &entries);
            sent.await.expect(200);
            of_a_depot(&id.to_string())
        }
        "person_id" => of_all(&first(administrator, "/v1/people", "id").await),
        "version" => of_nobody("1"),
        "what" => of_nobody("units"),
        "kind" => of_nobody("two-stage%20thrower"),
        "inspection_id" => of_a_unit(administrator, depot, inspection, "/v1/inspections").await,
        "meter_reading_id" => {
            of_a_unit(administrator, depot, meter_reading, "/v1/meter-readings").await
        }
        "finding_id" => {
            let unit = Fleet::at(administrator, depot).await.unit;
            let found = administrator
                .post("/v1/inspections", &inspection(&unit))
                .await
                .expect(201)
                .json();
            of_a_depot(found["findings"][0]["id"].as_str().expect("a finding"))
        }
        "hold_id" => {
            of_a_unit(
                administrator,
                depot,
                |_| json!({"reason": "smells of fuel"}),
                "/v1/units/{}/holds",
            )
            .await
        }
        "work_order_id" => {
            // It wants a part, so the list of what to buy has something to show.
            let part = posted(administrator, "/v1/parts", &listed_part()).await;
            let wants = |unit: &str| {
                let mut order = fault(unit);
                order["needs"] = json!([{"part_id": part, "quantity": 1}]);
                order
            };
            of_a_unit(administrator, depot, wants, "/v1/work-orders").await
        }
        "limited_use_id" => {
            of_a_unit(
                administrator,
                depot,
                limited_use,
                "/v1/units/{}/limited-use",
            )
            .await
        }
        "import_id" => of_a_depot(&checked_import(administrator, depot).await),
        "task_done_id" => {
            of_a_unit(
                administrator,
                depot,
                |_| task_done(),
                "/v1/units/{}/tasks-done",
            )
            .await
        }
        "deferral_id" => {
            of_a_unit(
                administrator,
                depot,
                |_| put_off(),
                "/v1/units/{}/deferrals",
            )
            .await
        }
        "alert_id" => of_a_depot(&alert(administrator, depot).await),
        "storm_id" => of_a_depot(&posted(administrator, "/v1/storms", &storm(depot)).await),
        _ => panic!(
            "the walk has no object for the path parameter {{{name}}}: add one to tests/api/examples.rs, so that the \
             operations with it are covered"
        ),
    }
}

fn of_a_depot(value: &str) -> Example {
    Example {
        value: value.to_owned(),
        of_a_depot: true,
        id: true,
    }
}

/// What the whole organisation shares.
fn of_all(value: &str) -> Example {
    Example {
        of_a_depot: false,
        ..of_a_depot(value)
    }
}

fn of_nobody(value: &str) -> Example {
    Example {
        id: false,
        ..of_all(value)
    }
}

/// A field of what an address shows.
async fn shown(actor: &Actor, path: &str, field: &str) -> String {
    let object = actor.get(path).await.expect(200).json();
    object[field].as_str().expect("the field").to_owned()
}

/// A field of the first object of a list.
async fn first(actor: &Actor, path: &str, field: &str) -> String {
    let list = actor.get(path).await.expect(200).json();
    list["items"][0][field]
        .as_str()
        .expect("the field")
        .to_owned()
}

/// What is posted to this path for a unit of the depot; `{}` in the path is the unit.
async fn of_a_unit(
    administrator: &Actor,
    depot: &Depot,
    body: impl Fn(&str) -> Value,
    path: &str,
) -> Example {
    let unit = Fleet::any_at(administrator, depot).await.unit;
    of_a_depot(&posted(administrator, &path.replace("{}", &unit), &body(&unit)).await)
}

/// One that opens a finding.
fn inspection(unit: &str) -> Value {
    let readings = json!([{"check": "skid_thickness", "value": 1, "unit": "mm"}]);
    json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(1), "readings": readings})
}

fn meter_reading(unit: &str) -> Value {
    json!({"unit_id": unit, "read_at": days_ago(1), "run_hours": 10})
}

fn limited_use(_unit: &str) -> Value {
    json!({"reason": "day only: lamp dark", "starts_at": days_ago(1), "ends_at": days_ago(-9)})
}

fn storm(depot: &Depot) -> Value {
    json!({
        "name": "A storm", "starts_at": days_ago(-1), "ends_at": days_ago(-2), "depth_mm": 200, "reclear_mm": 50,
        "depots": [depot.id],
    })
}

/// A table with a reading of a machine at this depot.
async fn table(administrator: &Actor, depot: &Depot) -> String {
    let unit = Fleet::any_at(administrator, depot).await.unit;
    let tag = shown(administrator, &format!("/v1/units/{unit}"), "tag").await;
    // Another moment each time: what is on record already is refused.
    format!("tag,read at,hours\n{tag},{},10\n", days_ago(1))
}

/// An import that waits to be applied; it takes a worker.
async fn checked_import(administrator: &Actor, depot: &Depot) -> String {
    let table = table(administrator, depot).await;
    let brought = administrator
        .post_table("/v1/imports?what=meter-readings", table)
        .await
        .expect(202)
        .id();
    eventually(20.0, "the import is checked", async || {
        let path = format!("/v1/imports/{brought}");
        administrator.get(&path).await.expect(200).json()["state"] == "checked"
    })
    .await;
    brought
}

/// Of a machine on hold; it takes a worker.
async fn alert(administrator: &Actor, depot: &Depot) -> String {
    let unit = Fleet::at(administrator, depot).await.unit;
    let hold = json!({"reason": "smells of fuel"});
    posted(administrator, &format!("/v1/units/{unit}/holds"), &hold).await;
    let path = format!("/v1/alerts?unit_id={unit}");
    eventually(20.0, "somebody is told of the hold", async || {
        let alerts = administrator.get(&path).await.expect(200).json();
        alerts["items"] != json!([])
    })
    .await;
    first(administrator, &path, "id").await
}

/// A key of a depot system of its own: one has so many and no more.
async fn key(administrator: &Actor) -> Value {
    let program = json!({"name": "A program", "role": "depot system"});
    let program = posted(administrator, "/v1/people", &program).await;
    json!({"person_id": program, "name": "A key", "expires_at": days_ago(-30)})
}

/// A phone that the operators of the depot share, and its id.
async fn enrolled(administrator: &Actor, depot: &Depot) -> (Phone, String) {
    let phone = Phone::new();
    let letters = code(administrator, json!({"depot_id": depot.id})).await;
    let enrolled = phone
        .enrol(administrator, &letters)
        .await
        .expect(201)
        .json();
    let id = enrolled["device"]["id"].as_str().expect("an id").to_owned();
    (phone, id)
}

fn lost() -> Value {
    json!({"because": "lost on the last round"})
}

fn task_done() -> Value {
    json!({"task": "engine_oil", "done_at": days_ago(1)})
}

fn put_off() -> Value {
    let until = jiff::Zoned::now().date().tomorrow().expect("a day");
    json!({"task": "engine_oil", "until": until, "reason": "oil on order"})
}

/// The query without which this operation cannot be asked.
pub fn query(operation: &str) -> &'static str {
    match operation {
        "imports_create" => "?what=meter-readings",
        _ => "",
    }
}

fn listed_part() -> Value {
    let name = Uuid::now_v7().to_string();
    json!({"number": format!("P {name}"), "name": name, "lead_time_days": 7})
}

fn fault(unit: &str) -> Value {
    json!({"unit_id": unit, "symptom": "will not throw"})
}

fn received(part: &str) -> Value {
    json!({"move": "received", "part_id": part, "quantity": 2, "happened_at": days_ago(1)})
}

/// What never exists at this path parameter.
pub fn absent(_name: &str) -> &'static str {
    "0198c0de-0000-7000-8000-000000000000"
}

/// A body with which this operation goes well, given an object at this depot for its path; `None` where it asks and
/// stores nothing: what the calculations take is tested with them.
pub async fn good_body(operation: &str, administrator: &Actor, depot: &Depot) -> Option<Value> {
    if operation.starts_with("calculations_") {
        return None;
    }
    let unit = async || Fleet::any_at(administrator, depot).await.unit;
    let name = Uuid::now_v7().to_string();
    Some(match operation {
        "checklists_create" => json!({"name": name, "kind": "two-stage thrower"}),
        "models_create" => {
            let checklist = example("checklist_id", administrator, depot).await.value;
            json!({"name": name, "kind": "two-stage thrower", "checklist_id": checklist})
        }
        "depots_create" => json!({
            "name": name, "zone": "America/Denver", "latitude": 39.6, "longitude": -105.9,
            "season": {"starts": "11-01", "ends": "04-20"}, "typical_snow_days": 70, "snow_day_mm": 25,
            "design_storm": {"hours": 24, "depth_mm": 400, "reclear_mm": 50}, "duties": [], "operators": [],
        }),
        "people_create" => json!({"name": name, "role": "technician", "depots": [depot.id]}),
        "units_create" => {
            let model = example("model_id", administrator, depot).await.value;
            json!({"tag": name, "depot_id": depot.id, "model_id": model})
        }
        "imports_create" => json!(table(administrator, depot).await),
        "page_set_units" => json!("units=us-customary&back=/"),
        "devices_make_code" => json!({"depot_id": depot.id}),
        "keys_create" => key(administrator).await,
        "inspections_create" => inspection(&unit().await),
        "meter_readings_create" => meter_reading(&unit().await),
        "storms_create" => storm(depot),
        "parts_list_create" => listed_part(),
        "work_orders_create" => fault(&unit().await),
        "stock_book" => received(&example("listed_part_id", administrator, depot).await.value),
        "holds_lift" => {
            let mut after = inspection(&unit().await);
            after["kind"] = json!("after_repair");
            after["performed_at"] = json!(days_ago(0));
            after["readings"] = json!(sound_readings(&two_stage_thrower()));
            json!({"inspection_id": posted(administrator, "/v1/inspections", &after).await})
        }
        "limited_uses_admit" => {
            json!({"storm_id": example("storm_id", administrator, depot).await.value})
        }
        "session_change" => json!({"current": PASSWORD, "new": PASSWORD}),
        _ => body(operation),
    })
}

/// A body that this operation can read, where `{}` is none.
pub fn body(operation: &str) -> Value {
    match operation {
        "holds_create" => json!({"reason": "smells of fuel"}),
        "holds_lift" => json!({"inspection_id": absent("inspection_id")}),
        "limited_uses_create" => limited_use(""),
        "tasks_done_create" => task_done(),
        "deferrals_create" => put_off(),
        "devices_make_code" => json!({"depot_id": absent("depot_id")}),
        "devices_revoke" => lost(),
        "unsent_settle" => json!({"outcome": "set aside", "word": "no longer of use"}),
        "alerts_acknowledge" => json!({"word": "on my bench"}),
        "snowfall_note" => json!({"days": [{"on": "2024-12-01", "snowfall_mm": 80}]}),
        "holds_name" => json!({"to_be_lifted_by": null}),
        "limited_uses_admit" => json!({"storm_id": absent("storm_id")}),
        "parts_create" => json!({"part": "auger_belt", "how": "renewed", "fitted_at": days_ago(1)}),
        "stock_book" => received(absent("part_id")),
        "sheets_create" => json!(two_stage_thrower()),
        "checklist_versions_create" => json!(two_stage_thrower_checklist()),
        _ => json!({}),
    }
}
