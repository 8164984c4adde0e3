//! /v1/exports/{what}: what goes out is what comes in.

use rimeyard_harness::machines::{days_ago, sound_inspection};
use rimeyard_harness::{Actor, TestServer};
use serde_json::json;

use super::fleet::{Fleet, posted};
use super::imports::{bring, tag};

const EVERYTHING: [&str; 6] = [
    "units",
    "snowfall",
    "meter-readings",
    "inspections",
    "parts",
    "stock",
];

async fn export(actor: &Actor, what: &str) -> String {
    let answer = actor.get(&format!("/v1/exports/{what}")).await.expect(200);
    assert_eq!(
        answer.header("content-type"),
        "text/csv; charset=utf-8; header=present"
    );
    answer.body
}

/// Whatever is awkward: figures in the units people type, texts that look like formulas, quotes, line breaks.
async fn history(actor: &Actor, home: uuid::Uuid, unit: &str) {
    let mut inspection = sound_inspection(unit, 40);
    for reading in inspection["readings"].as_array_mut().unwrap() {
        if reading["check"] == "skid_thickness" {
            *reading = json!({"check": "skid_thickness", "value": 0.1234567890123, "unit": "in", "repeats": 3, "note": "-  =1+1"});
        }
    }
    inspection["note"] = json!("'=cmd \"quoted\", and\r\na line  ");
    posted(actor, "/v1/inspections", &inspection).await;
    let empty = json!({"unit_id": unit, "kind": "storage", "performed_at": days_ago(30), "readings": [], "note": "''"});
    posted(actor, "/v1/inspections", &empty).await;
    // A correction goes out and what it corrects does not.
    let wrong = json!({"unit_id": unit, "read_at": days_ago(20), "run_hours": 9999.0});
    let wrong = posted(actor, "/v1/meter-readings", &wrong).await;
    let right = json!({"unit_id": unit, "read_at": days_ago(20), "run_hours": 101.1, "started": false, "corrects": wrong, "note": "@home"});
    posted(actor, "/v1/meter-readings", &right).await;
    let replaced =
        json!({"unit_id": unit, "read_at": days_ago(10), "run_hours": 0.1, "meter_replaced": true});
    posted(actor, "/v1/meter-readings", &replaced).await;
    let part = |number: &str| json!({"number": number, "name": format!("-{number}"), "lead_time_days": 9, "price": {"amount_minor": 5, "currency": "USD"}});
    let bolt = posted(actor, "/v1/parts", &part("B-1")).await;
    posted(actor, "/v1/parts", &part("+2")).await;
    for (what, quantity) in [("received", 12), ("lost", 2), ("counted", 9)] {
        let moved = json!({"move": what, "part_id": bolt, "quantity": quantity, "reason": "=why", "happened_at": days_ago(quantity)});
        actor
            .post(&format!("/v1/depots/{home}/stock/moves"), &moved)
            .await
            .expect(201);
    }
    let days = json!({"days": [{"on": "2024-12-01", "snowfall_mm": 63.5}, {"on": "2024-12-02", "snowfall_mm": 0.1}]});
    actor
        .post(&format!("/v1/depots/{home}/snowfall"), &days)
        .await
        .expect(200);
}

#[tokio::test]
async fn exported_imported_elsewhere_and_exported_again_it_is_the_same_to_the_byte() {
    let server = TestServer::start().await;
    let (ours, theirs) = (
        server.administrator().await,
        server.foreign_administrator().await,
    );
    let home = server.world.ours.home.id;
    for place in ["Home", "Far"] {
        let unit = Fleet::of(&server, place).await.unit;
        if place == "Home" {
            history(&ours, home, &unit).await;
        }
    }
    // The other organisation has models of the same names and sheets.
    for model in super::fleet::items(&ours, "/v1/models").await {
        let sheet = ours
            .get(&format!(
                "/v1/models/{}/sheets/1",
                model["id"].as_str().unwrap()
            ))
            .await
            .expect(200)
            .json();
        let new = json!({"name": model["name"], "kind": model["kind"]});
        let checklist = posted(&theirs, "/v1/checklists", &new).await;
        let new = json!({"name": model["name"], "kind": model["kind"], "checklist_id": checklist, "sheet": sheet["content"]});
        posted(&theirs, "/v1/models", &new).await;
    }
    for what in EVERYTHING {
        let out = export(&ours, what).await;
        assert!(out.lines().count() > 2, "{what}: {out}");
        let import = bring(
            &server,
            &theirs,
            &format!("what={what}&dry_run=false"),
            &out,
        )
        .await;
        assert_eq!(import["state"], "applied", "{what}: {import}");
        assert_eq!(export(&theirs, what).await, out, "{what}");
    }
    let readings = export(&ours, "inspections").await;
    assert!(
        readings.contains("'-  =1+1") && readings.contains("0.1234567890123,in"),
        "{readings}"
    );
    assert!(!export(&ours, "meter-readings").await.contains("9999"));
    // The spreadsheet's user sees no formula: no cell begins with what starts one, but for numbers.
    let units = export(&ours, "units").await;
    assert!(
        units.starts_with("tag,depot,model,rigging,away,acquired_on,came_new\r\n"),
        "{units}"
    );
}

#[tokio::test]
async fn what_goes_out_is_what_may_be_seen_and_what_was_asked_for() {
    let server = TestServer::start().await;
    let (technician, administrator) = (server.technician().await, server.administrator().await);
    let mut tags = Vec::new();
    for place in ["Home", "Far"] {
        let unit = Fleet::of(&server, place).await.unit;
        tags.push(tag(&administrator, &unit).await);
        let reading = json!({"unit_id": unit, "read_at": days_ago(3), "run_hours": 7});
        posted(&administrator, "/v1/meter-readings", &reading).await;
    }
    for what in ["units", "meter-readings"] {
        let all = export(&administrator, what).await;
        assert!(tags.iter().all(|tag| all.contains(tag)), "{all}");
        let own = export(&technician, what).await;
        assert!(own.contains(&tags[0]) && !own.contains(&tags[1]), "{own}");
        let far = format!("/v1/exports/{what}?depot_id={}", server.world.ours.far.id);
        let far_only = administrator.get(&far).await.expect(200).body;
        assert!(
            !far_only.contains(&tags[0]) && far_only.contains(&tags[1]),
            "{far_only}"
        );
        technician.get(&far).await.problem(404);
    }
    assert_eq!(
        export(&server.foreign_administrator().await, "units")
            .await
            .lines()
            .count(),
        1
    );
    administrator.get("/v1/exports/colours").await.problem(404);
    let query = administrator.get("/v1/exports/units?colour=red").await;
    assert_eq!(query.problem(400), ["colour"]);
}
