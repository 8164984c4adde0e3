//! What the machines of all depots teach is learned, told, computed with, and learned anew when there is more of it.

mod breaks;
mod faults;
mod kept;
mod together;

use reqwest::Method;
use rimeyard_harness::machines::{Machines, days_ago};
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_worker::learn;
use serde_json::{Value, json};

use super::{assert_stored_is_recomputed, drained, settings};

const DEPOTS: usize = 4;

/// Learns what is due; of how many models.
async fn learn(server: &TestServer) -> usize {
    learn::pass(&server.database, &settings())
        .await
        .expect("learned")
}

/// What a friction ring has lost after so many hours, machine by machine: twice what the sheet says, each a little apart.
fn thickness(machine: usize, hours: f64) -> f64 {
    let wave = |step: f64| (machine as f64 * step).sin();
    let exact =
        5.5 + 0.2 * wave(1.7) - 0.08 * (1.0 + 0.2 * wave(2.9)) * hours + 0.05 * wave(hours + 3.1);
    (exact * 10.0).round() / 10.0
}

async fn read_ring(administrator: &Actor, machine: usize, unit: &str, days: i64, hours: f64) {
    let reading =
        json!({"check": "friction_ring", "value": thickness(machine, hours), "unit": "mm"});
    read(administrator, unit, days, hours, reading).await;
}

async fn read(administrator: &Actor, unit: &str, days: i64, hours: f64, reading: Value) {
    let inspection = json!({
        "unit_id": unit, "kind": "in_season", "performed_at": days_ago(days), "run_hours": hours, "readings": [reading],
    });
    administrator
        .post("/v1/inspections", &inspection)
        .await
        .expect(201);
}

async fn learned(administrator: &Actor, model: &str) -> Value {
    administrator
        .get(&format!("/v1/models/{model}/learned"))
        .await
        .expect(200)
        .json()
}

/// The hours that are left of a machine's ring as likely as not.
async fn ring_hours(administrator: &Actor, unit: &str) -> f64 {
    let stands = administrator
        .get(&format!("/v1/readiness/units/{unit}"))
        .await
        .expect(200)
        .json();
    let parts = stands["parts"].as_array().expect("parts");
    let ring = parts.iter().find(|part| part["part"] == "friction_ring");
    let ring = ring.expect("a ring");
    let hours = &ring["hours"]["p50"];
    hours.as_f64().unwrap_or_else(|| panic!("{ring}"))
}

#[tokio::test]
async fn what_all_depots_measured_of_a_model_replaces_its_sheet_and_grows_with_them() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let ours = &server.world.ours;
    let machines = Machines::make(&administrator, ours.home.id, 12).await;
    // Three of them stand elsewhere, and nobody ever reads the last one's ring.
    for unit in &machines.units[..3] {
        let path = format!("/v1/units/{unit}");
        let etag = administrator.get(&path).await.expect(200).etag();
        let change = json!({"depot_id": ours.far.id});
        administrator.patch(&path, &etag, &change).await.expect(200);
    }
    let unread = machines.units.last().expect("a unit");
    let shoe = json!({"check": "skid_thickness", "value": 5.0, "unit": "mm"});
    read(&administrator, unread, 10, 20.0, shoe).await;
    drained(&server).await;
    let nothing = learned(&administrator, &machines.model).await;
    // It is made from the present sheet, whatever a reader has had before.
    let path = format!("/v1/models/{}/learned", machines.model);
    let known = administrator
        .request(Method::GET, &path)
        .header("if-none-match", "\"0\"");
    Answer::of(known).await.expect(200);
    assert_eq!(
        (&nothing["version"], &nothing["learned_at"]),
        (&json!(0), &Value::Null)
    );
    assert_eq!(nothing["wear"]["friction_ring"]["from"], "sheet");
    let by_sheet = ring_hours(&administrator, unread).await;

    for (machine, unit) in machines.units[..11].iter().enumerate() {
        for (days, hours) in [(60, 10.0), (40, 25.0), (20, 40.0)] {
            read_ring(&administrator, machine, unit, days, hours).await;
        }
    }
    assert!(learn(&server).await > 0);
    drained(&server).await;
    let first = learned(&administrator, &machines.model).await;
    let ring = &first["wear"]["friction_ring"];
    assert_eq!(
        (
            &first["version"],
            &first["machines"],
            &ring["from"],
            &ring["parts"],
            &ring["readings"]
        ),
        (
            &json!(1),
            &json!(12),
            &json!("fleet"),
            &json!(11),
            &json!(33)
        )
    );
    let rate = ring["prior"]["rate"].as_f64().expect("a rate");
    assert!((rate - 0.08).abs() < 0.015, "{ring}");
    assert!(
        ring["because"]
            .as_str()
            .is_some_and(|because| because.starts_with("learned from 11 parts with 33 readings")),
        "{ring}"
    );
    // The one that nobody read goes by what the others show.
    let by_fleet = ring_hours(&administrator, unread).await;
    assert!(by_fleet < 0.7 * by_sheet, "{by_fleet} of {by_sheet}");
    assert_stored_is_recomputed(&server, DEPOTS).await;

    // A little more is nothing new; a tenth more is.
    assert_eq!(learn(&server).await, 0);
    read_ring(&administrator, 0, &machines.units[0], 10, 45.0).await;
    assert_eq!(learn(&server).await, 0);
    for (machine, unit) in machines.units[..11].iter().enumerate() {
        read_ring(&administrator, machine, unit, 5, 50.0).await;
    }
    assert!(learn(&server).await > 0);
    let second = learned(&administrator, &machines.model).await;
    assert_eq!(
        (
            &second["version"],
            &second["wear"]["friction_ring"]["readings"]
        ),
        (&json!(2), &json!(45))
    );
    drained(&server).await;
    assert_stored_is_recomputed(&server, DEPOTS).await;

    // The list says the same, of every model.
    let page = administrator.get("/v1/learned").await.expect(200).json();
    let items = page["items"].as_array().expect("items");
    let of_model = |item: &&Value| item["model_id"] == machines.model.as_str();
    assert_eq!(items.iter().find(of_model), Some(&second));
}

/// A new sheet is another standard of what is as new: what was learned on the old one is not computed with.
#[tokio::test]
async fn a_new_sheet_is_learned_on_anew() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let machines = Machines::make_sound(&administrator, server.world.ours.home.id, 2, 3).await;
    assert!(learn(&server).await > 0);
    let path = format!("/v1/models/{}/sheets", machines.model);
    let newest = administrator
        .get(&format!("{path}/1"))
        .await
        .expect(200)
        .json();
    administrator
        .post(&path, &newest["content"])
        .await
        .expect(201);
    assert!(learn(&server).await > 0);
    let anew = learned(&administrator, &machines.model).await;
    assert_eq!(
        (&anew["version"], &anew["sheet_version"]),
        (&json!(2), &json!(2))
    );
    drained(&server).await;
    assert_stored_is_recomputed(&server, DEPOTS).await;
}
