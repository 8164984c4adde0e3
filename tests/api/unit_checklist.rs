//! /v1/units/{unit_id}/checklist

use rimeyard_harness::TestServer;
use rimeyard_rules::sheet::{Work, two_stage_thrower, two_stage_thrower_checklist};
use serde_json::{Value, json};

use super::fleet::{days_ago, model, posted};

#[tokio::test]
async fn the_checklist_of_a_unit_has_its_steps_in_working_order_with_limits_and_the_last_reading() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = json!({"tag": "B-17", "depot_id": server.world.ours.home.id, "model_id": model(&administrator).await});
    let unit = posted(&administrator, "/v1/units", &new).await;
    let operator = server.operator().await;
    let path = format!("/v1/units/{unit}/checklist");
    let fresh = operator.get(&path).await.expect(200);
    let list = fresh.json();
    let (sheet, content) = (two_stage_thrower(), two_stage_thrower_checklist());
    let order: Vec<&str> = content
        .steps_for(&sheet, Work::Clear)
        .map(|(step, _)| step.check.as_str())
        .collect();
    let steps = list["steps"].as_array().unwrap();
    let checks: Vec<&str> = steps
        .iter()
        .map(|step| step["check"].as_str().unwrap())
        .collect();
    assert_eq!(checks, order);
    assert_eq!(list["version"], 1);
    assert_eq!(list["preconditions"], json!(content.preconditions));
    assert_eq!(list["cautions"], json!(content.cautions));
    for step in steps {
        assert_eq!(step["last"], Value::Null);
        let spec = sheet.check_spec(step["check"].as_str().unwrap()).unwrap();
        assert_eq!(step["title"], json!(spec.title));
        assert_eq!(step["effect"], json!(spec.effect));
        assert_eq!(step["source"], json!(spec.source));
        let measured = step["kind"] == "measure";
        assert_eq!(step["unit"].is_string(), measured, "{step}");
        assert_eq!(step["limits"] != json!({}), measured, "{step}");
        let graded = step["kind"] == "grade" || step["kind"] == "level";
        assert_eq!(step["grades"].is_array(), graded, "{step}");
        for tool in step["tools"].as_array().unwrap() {
            assert!(list["tools"].as_array().unwrap().contains(tool));
        }
        for caution in &spec.cautions {
            let cautions = step["cautions"].as_array().unwrap();
            assert!(cautions.contains(&json!(caution)), "{step}");
        }
    }

    let step = |list: &Value, check: &str| {
        let steps = list["steps"].as_array().unwrap();
        steps
            .iter()
            .find(|step| step["check"] == check)
            .unwrap()
            .clone()
    };
    let technician = server.technician().await;
    let inspect = |days: i64, readings: Value, corrects: Value| {
        let technician = technician.clone();
        let body = json!({
            "unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "readings": readings,
            "corrects": corrects,
        });
        async move { posted(&technician, "/v1/inspections", &body).await }
    };
    let inches = json!([
        {"check": "skid_thickness", "value": 0.25, "unit": "in"},
        {"check": "clean_out_tool", "works": true},
    ]);
    let newest = inspect(2, inches, Value::Null).await;
    // What was done earlier and is told later is not the last.
    let earlier = json!([{"check": "skid_thickness", "value": 8, "unit": "mm"}]);
    inspect(9, earlier, Value::Null).await;
    let list = operator.get(&path).await.expect(200);
    assert_ne!(list.etag(), fresh.etag());
    let last = step(&list.json(), "skid_thickness")["last"].clone();
    assert_eq!(
        (&last["value"], &last["unit"], &last["inspection_id"]),
        (&json!(0.25), &json!("in"), &json!(newest)),
        "as it was entered"
    );
    assert_eq!(
        (&last["verdict"], &last["by"]),
        (&json!("serviceable"), &json!("The technician"))
    );
    let tool = step(&list.json(), "clean_out_tool")["last"].clone();
    assert_eq!(
        (&tool["works"], &tool["value"]),
        (&json!(true), &Value::Null)
    );

    // A correction stands for what it corrects, with everything in it.
    let corrected = json!([{"check": "skid_thickness", "value": 2, "unit": "mm"}]);
    inspect(2, corrected, json!(newest)).await;
    let list = operator.get(&path).await.expect(200).json();
    let last = step(&list, "skid_thickness")["last"].clone();
    assert_eq!(
        (&last["value"], &last["verdict"]),
        (&json!(2.0), &json!("marginal"))
    );
    assert_eq!(step(&list, "clean_out_tool")["last"], Value::Null);

    // The limits are those of the present sheet, the order that of the present checklist.
    let unit = operator.get(&format!("/v1/units/{unit}")).await.json();
    let mut sheet = json!(sheet);
    let checks = sheet["checks"].as_array_mut().unwrap();
    let skid = checks
        .iter_mut()
        .find(|check| check["check"] == "skid_thickness")
        .unwrap();
    skid["limits"]["low"]["marginal_at"]["value"] = json!(4.0);
    let model = format!("/v1/models/{}", unit["model_id"].as_str().unwrap());
    administrator
        .post(&format!("{model}/sheets"), &sheet)
        .await
        .expect(201);
    let mut content = json!(content);
    content["steps"].as_array_mut().unwrap().reverse();
    let checklist = format!(
        "/v1/checklists/{}/versions",
        list["checklist_id"].as_str().unwrap()
    );
    administrator.post(&checklist, &content).await.expect(201);
    let list = operator.get(&path).await.expect(200).json();
    assert_eq!(list["version"], 2);
    assert_eq!(list["steps"][0]["check"], json!(order[order.len() - 1]));
    let skid = step(&list, "skid_thickness");
    assert_eq!(skid["limits"]["low"]["marginal_at"]["value"], 4.0);
}
