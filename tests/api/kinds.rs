//! Every kind of machine there is a default for, from its model to its readiness.

use rimeyard_harness::machines::{days_ago, sound_readings};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_rules::sheet::{default_checklist, default_kinds, default_sheet};
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};

/// Ground for all three kinds of work, people enough, and the storm that a depot starts from.
fn ground() -> Value {
    let duty = |work: &str, area_m2: f64| json!({"name": work, "work": work, "class": "first", "area_m2": area_m2, "clear_within_h": 4.0});
    let mut spread = duty("spread", 3000.0);
    spread["dose_g_m2"] = json!(20.0);
    json!({
        "duties": [duty("clear", 4000.0), duty("blow", 500.0), spread],
        "operators": [],
        "design_storm": {"hours": 12.0, "depth_mm": 250.0, "reclear_mm": 50.0, "density_kg_m3": null, "temperature_c": -6.0, "low_c": -15.0}
    })
}

async fn model_of(administrator: &Actor, kind: &str) -> String {
    let new = json!({"name": kind, "kind": kind});
    let checklist = administrator
        .post("/v1/checklists", &new)
        .await
        .expect(201)
        .id();
    let new = json!({"name": kind, "kind": kind, "checklist_id": checklist});
    administrator
        .post("/v1/models", &new)
        .await
        .expect(201)
        .id()
}

/// Answers every step of the unit's checklist as sound as can be, and no more than is on it. How many steps there were.
async fn inspected(administrator: &Actor, kind: &str, unit: &str) -> usize {
    let path = format!("/v1/units/{unit}/checklist");
    let list = administrator.get(&path).await.expect(200).json();
    let steps: Vec<&Value> = list["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| &step["check"])
        .collect();
    let mut readings = sound_readings(&default_sheet(kind).unwrap());
    readings.retain(|reading| steps.contains(&&reading["check"]));
    assert_eq!(readings.len(), steps.len(), "{kind}");
    let inspection = json!({"unit_id": unit, "kind": "pre_season", "performed_at": days_ago(10), "run_hours": 60.0, "readings": readings});
    administrator
        .post("/v1/inspections", &inspection)
        .await
        .expect(201);
    steps.len()
}

#[tokio::test]
async fn every_kind_is_ready_once_it_is_inspected_whatever_it_is_rigged_for() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}");
    let depot = administrator.get(&path).await.expect(200);
    administrator
        .patch(&path, &depot.etag(), &ground())
        .await
        .expect(200);
    let mut units = Vec::new();
    for kind in default_kinds() {
        let model = model_of(&administrator, kind).await;
        for work in default_sheet(kind).unwrap().works {
            let new = json!({"tag": format!("{kind} {work:?}"), "depot_id": home, "model_id": model, "rigging": work, "acquired_on": "2024-10-01", "came_new": true});
            let unit = administrator.post("/v1/units", &new).await.expect(201).id();
            let steps = inspected(&administrator, kind, &unit).await;
            units.push((unit, json!(work), steps));
        }
    }
    assert_eq!(units.len(), 8);
    let done = drain(&server.database, &Settings::default()).await.unwrap();
    assert_eq!(done.failures, []);
    for (unit, work, steps) in &units {
        let path = format!("/v1/readiness/units/{unit}");
        let answer = administrator.get(&path).await.expect(200).json();
        assert_eq!(answer["status"], "ready", "{}", answer["summary"]);
        assert_eq!(answer["work"], *work);
        let unit = if work == "spread" { "kg/h" } else { "m2/h" };
        assert_eq!(answer["rate_unit"], unit);
        assert!(
            answer["rate"].as_f64().unwrap() > 0.0 && *steps > 10,
            "{answer}"
        );
    }
    let path = format!("/v1/readiness/depots/{home}");
    let answer = administrator.get(&path).await.expect(200).json();
    assert_eq!(answer["units"]["ready"], 8);
    // 5 x 4000 m2 by 13.6 h, 5 x 500 m2 likewise; 5 x 60 kg.
    assert_eq!(answer["needed_rate"], (22_500.0 / 13.6_f64).round());
    assert_eq!(answer["needed_kg_per_h"], 22.1);
    let works = answer["works"].as_array().unwrap();
    let rates: Vec<(&Value, &Value)> = works
        .iter()
        .map(|work| (&work["work"], &work["rate_unit"]))
        .collect();
    let expected = [("clear", "m2/h"), ("spread", "kg/h"), ("blow", "m2/h")];
    assert_eq!(
        rates,
        expected
            .map(|(work, unit)| (json!(work), json!(unit)))
            .iter()
            .map(|(work, unit)| (work, unit))
            .collect::<Vec<_>>()
    );
    let because = answer["because"].to_string();
    assert!(
        because.contains("spreading: 22.1\u{202f}kg/h needed"),
        "{because}"
    );
}

/// A tractor's checklist changes with its attachment.
#[tokio::test]
async fn a_checklist_has_the_steps_of_the_attachment_that_is_fitted() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let kind = "sidewalk tractor";
    let model = model_of(&administrator, kind).await;
    let new = json!({"tag": "T-1", "depot_id": server.world.ours.home.id, "model_id": model});
    let created = administrator.post("/v1/units", &new).await.expect(201);
    assert_eq!(created.json()["rigging"], "clear", "as it usually is");
    let unit = created.id();
    let has = async |check: &str| {
        let path = format!("/v1/units/{unit}/checklist");
        let list = administrator.get(&path).await.expect(200).json();
        let mut steps = list["steps"].as_array().unwrap().iter();
        steps.any(|step| step["check"] == check)
    };
    assert!(has("pto_guard").await && !has("bristle_length").await);
    let path = format!("/v1/units/{unit}");
    administrator
        .patch(&path, "\"1\"", &json!({"rigging": "blow"}))
        .await
        .expect(200);
    assert!(!has("pto_guard").await && has("bristle_length").await);
    assert!(has("presence_switch").await);
}

#[tokio::test]
async fn the_kinds_are_listed_and_each_sheet_is_served_as_it_is() {
    let server = TestServer::start().await;
    let operator = server.operator().await;
    let list = operator.get("/v1/default-sheets").await.expect(200).json();
    assert_eq!(list["next_cursor"], Value::Null);
    let kinds: Vec<&str> = list["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|item| item["kind"].as_str().unwrap())
        .collect();
    assert_eq!(kinds, default_kinds().collect::<Vec<_>>());
    assert_eq!(
        list["items"][2],
        json!({"kind": "sidewalk tractor", "works": ["clear", "blow"]})
    );
    for kind in kinds {
        let path = format!("/v1/default-sheets/{}", kind.replace(' ', "%20"));
        let sheet = operator.get(&path).await.expect(200).json();
        assert_eq!(
            sheet,
            json!(default_sheet(kind).unwrap()),
            "nothing is lost on the way"
        );
        assert!(default_checklist(kind).is_some());
    }
    let unknown = operator.get("/v1/default-sheets?kind=spreader").await;
    unknown.problem(400);
}
