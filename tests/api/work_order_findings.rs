//! What inspections find becomes lines of work orders.

use rimeyard_harness::TestServer;
use rimeyard_rules::sheet::{CheckSpec, Reads, two_stage_thrower};
use serde_json::{Value, json};

use super::fleet::{audited, days_ago, entry, feed_is_sound, fleet, items, marks, posted};
use super::stock::part;
use super::work_orders::{changed, inspected, no_tool, order_of, sound_shoes, worn_shoes};

#[tokio::test]
async fn what_an_inspection_finds_goes_onto_the_units_order_once() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home;
    let shoes = part(&technician, "Skid Shoe PAIR").await;
    let unit = fleet(&server).await.unit;
    let before = marks(&server, &home).await;
    let recorded = inspected(&technician, &unit, 3, json!([worn_shoes()])).await;
    assert_eq!(marks(&server, &home).await, before + 1);
    let order = order_of(&technician, &unit).await;
    let id = order["id"].as_str().unwrap().to_owned();
    let proposed = &recorded["proposed_work_orders"];
    assert_eq!(proposed[0]["work_order_id"], json!(id));
    assert_eq!(order["state"], "found");
    let line = &order["lines"][0];
    assert_eq!(line["finding_id"], proposed[0]["finding_id"]);
    assert_eq!(
        (&line["title"], &order["title"]),
        (&proposed[0]["job"], &proposed[0]["job"])
    );
    assert_eq!(line["minutes_planned"], proposed[0]["minutes"]);
    assert_eq!(line["takes"], proposed[0]["parts"]);
    assert_eq!(line["finding"]["closed_at"], Value::Null);
    // What the sheet names in words and the list of parts has is needed, whatever the letters.
    assert_eq!(order["needs"], json!([{"part_id": shoes, "quantity": 1}]));
    let part = &order["parts"][0];
    assert_eq!(
        (&part["here"], &part["short"], &part["lead_time_days"]),
        (&json!(0), &json!(1), &json!(14))
    );

    // Found again, nothing is added; found beside it, it is.
    let again = inspected(&technician, &unit, 2, json!([worn_shoes(), no_tool()])).await;
    let order = order_of(&technician, &unit).await;
    assert_eq!(order["lines"].as_array().unwrap().len(), 2);
    for proposed in again["proposed_work_orders"].as_array().unwrap() {
        assert_eq!(proposed["work_order_id"], json!(id));
    }
    // Found right, it is shown on its line.
    inspected(&technician, &unit, 1, json!([sound_shoes()])).await;
    let order = order_of(&technician, &unit).await;
    assert!(order["lines"][0]["finding"]["closed_at"].is_string());
    assert!(!order["lines"][0]["done"].as_bool().unwrap());
    let entry = entry(&server, home.id, "work-order", &id).await;
    assert_eq!((entry.rev, &entry.doc["lines"]), (3, &order["lines"]));
    feed_is_sound(&server).await;
    let actions: Vec<String> = audited(&server, &id)
        .await
        .into_iter()
        .map(|(action, _)| action)
        .collect();
    assert_eq!(actions, ["create", "update"]);
}

#[tokio::test]
async fn an_order_that_is_planned_gets_no_more_lines_and_one_dropped_is_not_asked_for_again() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    let first = inspected(&technician, &unit, 5, json!([worn_shoes()])).await;
    let first = first["proposed_work_orders"][0]["work_order_id"].clone();
    changed(
        &technician,
        first.as_str().unwrap(),
        &json!({"state": "planned"}),
    )
    .await
    .expect(200);
    let second = inspected(&technician, &unit, 4, json!([no_tool()])).await;
    let second = second["proposed_work_orders"][0]["work_order_id"].clone();
    assert_ne!(first, second);
    let drop = json!({"state": "dropped", "drop_reason": "the machine goes to the shop"});
    changed(&technician, first.as_str().unwrap(), &drop)
        .await
        .expect(200);
    let again = inspected(&technician, &unit, 3, json!([worn_shoes()])).await;
    assert_eq!(
        again["proposed_work_orders"][0]["work_order_id"],
        Value::Null
    );
    assert_eq!(order_of(&technician, &unit).await["id"], second);
    // A correction that takes the finding back leaves the order, and shows it closed there.
    let found = inspected(
        &technician,
        &unit,
        2,
        json!([
            {"check": "auger_belt_ride", "value": -4, "unit": "mm"}
        ]),
    )
    .await;
    let correction = json!({
        "unit_id": unit, "kind": "in_season", "performed_at": days_ago(2), "corrects": found["id"],
        "readings": [{"check": "auger_belt_ride", "value": 0.5, "unit": "mm"}],
    });
    posted(&technician, "/v1/inspections", &correction).await;
    let order = order_of(&technician, &unit).await;
    assert!(
        order["lines"][1]["finding"]["closed_at"].is_string(),
        "{order}"
    );
}

#[tokio::test]
async fn as_much_is_found_as_there_is_to_find_and_none_of_it_is_refused() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    // Everything on the sheet as bad as it can be.
    let worst = |check: &CheckSpec| match &check.reads {
        Reads::Measure(measure) => {
            let limits = &measure.limits;
            let side = limits.low.as_ref().or(limits.high.as_ref())?;
            let bad = side.unserviceable_at.value;
            let reading =
                json!({"check": check.check, "value": bad, "unit": measure.unit.symbol()});
            measure.derived.is_none().then_some(reading)
        }
        Reads::Grade(grades) => Some(json!({"check": check.check, "grade": grades.last()?.grade})),
        Reads::Level(levels) => Some(json!({"check": check.check, "level": levels.last()?.grade})),
        Reads::Function => Some(json!({"check": check.check, "works": false})),
    };
    let readings: Vec<Value> = two_stage_thrower()
        .checks
        .iter()
        .filter_map(worst)
        .collect();
    let recorded = inspected(&technician, &unit, 1, json!(readings)).await;
    let findings = recorded["findings"].as_array().unwrap().len();
    assert!(findings > 25, "{findings}");
    let proposed = recorded["proposed_work_orders"].as_array().unwrap();
    assert!(
        proposed
            .iter()
            .all(|proposed| proposed["work_order_id"].is_string())
    );
    let orders = items(&technician, &format!("/v1/work-orders?unit_id={unit}")).await;
    let lines: usize = orders
        .iter()
        .map(|order| order["lines"].as_array().unwrap().len())
        .sum();
    assert_eq!(
        (orders.len(), lines),
        (proposed.len().div_ceil(20), proposed.len())
    );
}

#[tokio::test]
async fn two_who_inspect_one_machine_at_once_put_what_they_find_on_one_order() {
    let server = TestServer::start().await;
    let actors = [
        server.technician().await,
        server.depot_lead().await,
        server.administrator().await,
    ];
    let unit = fleet(&server).await.unit;
    let found = [
        worn_shoes(),
        no_tool(),
        json!({"check": "auger_belt_ride", "value": -4, "unit": "mm"}),
    ];
    let inspecting = actors.iter().zip(&found).map(|(actor, reading)| {
        // The shoes are found by all of them.
        let mut readings = vec![worn_shoes()];
        if *reading != readings[0] {
            readings.push(reading.clone());
        }
        inspected(actor, &unit, 1, json!(readings))
    });
    futures::future::join_all(inspecting).await;
    let order = order_of(&actors[0], &unit).await;
    assert_eq!(order["lines"].as_array().unwrap().len(), 3);
    feed_is_sound(&server).await;
}
