//! /v1/depots/{depot_id}/snowfall

use jiff::civil::{Date, date};
use jiff::{Timestamp, ToSpan};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::{Settings, drain};
use serde_json::{Value, json};

use super::fleet::{audited, owner};

/// Every day of a winter, dry but for so many days from this one on, a week apart.
fn winter(year: i16, first: Date, snow_days: i32) -> Vec<Value> {
    date(year, 7, 1)
        .series(1.day())
        .take_while(|on| *on < date(year + 1, 7, 1))
        .map(|on| {
            let since = on.since((jiff::Unit::Day, first)).unwrap().get_days();
            let snows = since >= 0 && since % 7 == 0 && since / 7 < snow_days;
            json!({"on": on, "snowfall_mm": if snows { 40.0 } else { 0.0 }})
        })
        .collect()
}

async fn note(actor: &Actor, path: &str, days: &[Value]) {
    let noted = actor.post(path, &json!({"days": days})).await.expect(200);
    assert_eq!(noted.json()["days"], days.len());
}

async fn season(server: &TestServer, depot: uuid::Uuid) -> Value {
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let inputs: String = owner(server)
        .await
        .query_one(
            "select inputs from depot_state where depot_id = $1",
            &[&depot],
        )
        .await
        .unwrap()
        .get(0);
    serde_json::from_str::<Value>(&inputs).unwrap()["season"].clone()
}

#[tokio::test]
async fn snowfall_is_noted_listed_page_by_page_and_what_was_noted_last_counts() {
    let server = TestServer::start().await;
    let system = server.depot_system().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/snowfall");
    let days: Vec<Value> = winter(2024, date(2024, 12, 2), 10)
        .into_iter()
        .take(250)
        .collect();
    note(&system, &path, &days).await;
    // Measured again: 2 December was 15 mm, and somebody knows of a day in June before.
    let again = [
        json!({"on": "2024-12-02", "snowfall_mm": 15}),
        json!({"on": "2024-06-01", "snowfall_mm": 0}),
    ];
    note(&system, &path, &again).await;

    let mut listed = Vec::new();
    let mut after = Value::Null;
    loop {
        let query = after
            .as_str()
            .map_or(String::new(), |day| format!("&after={day}"));
        let page = system
            .get(&format!("{path}?limit=100{query}"))
            .await
            .expect(200)
            .json();
        listed.extend(page["items"].as_array().unwrap().clone());
        after = page["next_after"].clone();
        if after.is_null() {
            break;
        }
    }
    assert_eq!(listed.len(), 251);
    assert_eq!(listed[0], json!({"on": "2024-06-01", "snowfall_mm": 0.0}));
    let december = listed.iter().find(|day| day["on"] == "2024-12-02").unwrap();
    assert_eq!(december["snowfall_mm"], 15.0);
    let audited = audited(&server, &home.to_string()).await;
    assert_eq!(
        audited
            .iter()
            .filter(|(action, _)| action == "note")
            .count(),
        2
    );
}

#[tokio::test]
async fn winters_on_record_are_the_depots_futures_and_five_tell_its_season() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/snowfall");
    assert_eq!(season(&server, home).await["from"], "fixed dates");
    for (index, year) in (2019..2023).enumerate() {
        let first = date(year, 11, 10 + index as i8);
        note(&lead, &path, &winter(year, first, 20 + index as i32)).await;
    }
    let four = season(&server, home).await;
    assert_eq!(four["from"], "fixed dates");
    assert_eq!(four["snow_days"], json!([20, 21, 22, 23]));
    note(&lead, &path, &winter(2023, date(2023, 11, 14), 24)).await;
    let five = season(&server, home).await;
    assert_eq!(five["from"], "history");
    assert_eq!(five["snow_days"], json!([20, 21, 22, 23, 24]));
    // First days 10, 11, .. 14 November: a tenth of the way is 10.4, so from the 10th (Hyndman & Fan 1996, definition 7).
    assert!(
        five["starts"].as_str().unwrap().ends_with("-11-10"),
        "{five}"
    );
}

#[tokio::test]
async fn what_no_day_can_have_is_named_and_nothing_is_noted() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/snowfall");
    let tomorrow = Timestamp::now() + jiff::SignedDuration::from_hours(48);
    let tomorrow = tomorrow.to_zoned(jiff::tz::TimeZone::UTC).date();
    let day = |on: &str, mm: f64| json!({"on": on, "snowfall_mm": mm});
    let too_many: Vec<Value> = date(2020, 1, 1)
        .series(1.day())
        .take(1_001)
        .map(|on| json!({"on": on, "snowfall_mm": 0}))
        .collect();
    for (days, field) in [
        (json!([]), "days"),
        (json!(too_many), "days"),
        (json!([day("2024-01-01", -1.0)]), "days[0].snowfall_mm"),
        (json!([day("2024-01-01", 5_001.0)]), "days[0].snowfall_mm"),
        (
            json!([day("2024-01-01", 0.0), day("2024-01-01", 9.0)]),
            "days[1].on",
        ),
        (json!([day(&tomorrow.to_string(), 0.0)]), "days[0].on"),
        (json!([day("1899-12-31", 0.0)]), "days[0].on"),
        (json!([day("2024-02-30", 0.0)]), "days[0].on"),
        (json!([{"on": "2024-01-01"}]), "days[0].snowfall_mm"),
        (
            json!([{"on": "2024-01-01", "snowfall_mm": 1, "depth": 2}]),
            "days[0].depth",
        ),
    ] {
        let body = json!({"days": days});
        assert_eq!(lead.post(&path, &body).await.problem(422), [field]);
    }
    for query in ["after=x", "limit=0", "from=2024-01-01"] {
        let field = query.split('=').next().unwrap();
        assert_eq!(
            lead.get(&format!("{path}?{query}")).await.problem(400),
            [field]
        );
    }
    let listed = lead.get(&path).await.expect(200).json();
    assert_eq!(listed["items"], json!([]));
    // Whoever only inspects does not say how much snow fell.
    let body = json!({"days": [day("2024-01-01", 1.0)]});
    server
        .technician()
        .await
        .post(&path, &body)
        .await
        .problem(403);
}
