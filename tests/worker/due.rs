//! Tasks fall due as time passes, and nobody writes anything.

use jiff::{SignedDuration, Zoned};
use rimeyard_harness::machines::{Machines, days_ago};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::drain;
use serde_json::{Value, json};

use super::{Moved, assert_stored_is_recomputed, drained};

/// Longer than the while by which a depot's midnight may be put off.
const DAY: SignedDuration = SignedDuration::from_hours(25);

/// A task of a unit, as /v1/due shows it.
async fn task(actor: &Actor, unit: &str, task: &str) -> Value {
    let path = format!("/v1/due?unit_id={unit}&limit=200");
    let due = actor.get(&path).await.expect(200).json();
    let tasks = due["items"].as_array().expect("a list");
    let found = tasks.iter().find(|one| one["task"] == task);
    found
        .unwrap_or_else(|| panic!("no {task} in {due}"))
        .clone()
}

async fn passed(server: &TestServer, clock: &Moved, days: i64) {
    clock.ahead(SignedDuration::from_hours(24 * days) + DAY);
    let done = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(done.failures, []);
}

#[tokio::test]
async fn a_task_is_owed_again_when_its_time_is_over_and_done_by_whatever_counts_as_doing_it() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let unit = Machines::make_sound(&server.administrator().await, home, 1, 1)
        .await
        .units
        .remove(0);
    drained(&server).await;
    // By the inspection, which answered its checks; every 2 months.
    let fuel = task(&lead, &unit, "fuel").await;
    assert_eq!(fuel["state"], "not due", "{fuel}");
    assert_eq!(
        (&fuel["on"], &fuel["on"]),
        (&fuel["early"], &fuel["late"]),
        "a calendar knows its date"
    );

    let clock = Moved::default();
    passed(&server, &clock, 74).await;
    let fuel = task(&lead, &unit, "fuel").await;
    assert_eq!(fuel["state"], "overdue", "{fuel}");
    let path = format!("/v1/alerts?unit_id={unit}&kind=task%20overdue");
    let told = lead.get(&path).await.expect(200).json();
    let text = told["items"][0]["text"].as_str().expect("a text");
    assert!(text.contains(": overdue: "), "{text}");

    // It is proposed as work, and once it is on an order it is not proposed again.
    let path = format!("/v1/units/{unit}/proposed-work");
    let proposed = lead.get(&path).await.expect(200).json();
    let lines = proposed["order"]["lines"].as_array().expect("lines");
    let place = lines
        .iter()
        .position(|line| *line == json!({"task": "fuel"}));
    let place = place.unwrap_or_else(|| panic!("{proposed}"));
    assert_eq!(proposed["because"][place], fuel["text"]);
    let order = lead
        .post("/v1/work-orders", &proposed["order"])
        .await
        .expect(201)
        .json();
    assert_eq!(order["lines"].as_array().map(Vec::len), Some(lines.len()));
    assert_eq!(order["lines"][place]["title"], fuel["title"]);
    let again = lead.get(&path).await.expect(200).json();
    assert_eq!(
        (&again["order"]["lines"], &again["because"]),
        (&json!([]), &json!([]))
    );

    // Said to have been done, in word and date. Whoever says so was there: the present, not the clock that was moved.
    let done = json!({"task": "fuel", "done_at": days_ago(0), "run_hours": 104, "note": "drained"});
    let path = format!("/v1/units/{unit}/tasks-done");
    let done = lead.post(&path, &done).await.expect(201);
    passed(&server, &clock, 0).await;
    let again = task(&lead, &unit, "fuel").await;
    assert!(again["on"].as_str() >= fuel["on"].as_str(), "{again}");
    assert_ne!(again["text"], fuel["text"], "last done later: {again}");

    // It was another machine.
    let taken_back = json!({
        "task": "fuel", "done": false, "done_at": days_ago(0), "corrects": done.id(),
    });
    lead.post(&path, &taken_back).await.expect(201);
    passed(&server, &clock, 0).await;
    assert_eq!(task(&lead, &unit, "fuel").await["text"], fuel["text"]);
    let shown = lead.get(&format!("/v1/tasks-done/{}", done.id())).await;
    assert!(shown.expect(200).json()["corrected_by"].is_string());
}

#[tokio::test]
async fn a_safety_task_past_its_window_leaves_the_machine_unproven_although_it_is_put_off() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let unit = Machines::make_sound(&server.administrator().await, home, 1, 1)
        .await
        .units
        .remove(0);
    drained(&server).await;
    let status = async || {
        let path = format!("/v1/readiness/units/{unit}");
        lead.get(&path).await.expect(200).json()
    };
    assert_eq!(status().await["status"], "ready");

    // 200 days on, whatever the season.
    let until = Zoned::now()
        .date()
        .saturating_add(jiff::Span::new().days(200));
    for (task, reason) in [
        ("fuel", "stabilised, says the label"),
        ("auger_release", "no time"),
    ] {
        let put_off = json!({"task": task, "until": until, "reason": reason});
        let path = format!("/v1/units/{unit}/deferrals");
        lead.post(&path, &put_off).await.expect(201);
    }
    let clock = Moved::default();
    passed(&server, &clock, 74).await;
    let fuel = task(&lead, &unit, "fuel").await;
    assert_eq!(fuel["state"], "deferred", "{fuel}");
    assert_eq!(fuel["deferred_until"], until.to_string());
    assert!(
        fuel["text"]
            .to_string()
            .contains("stabilised, says the label"),
        "{fuel}"
    );

    // A quarter, its window of a tenth, and some days.
    passed(&server, &clock, 30).await;
    let released = task(&lead, &unit, "auger_release").await;
    assert_eq!(released["state"], "overdue", "{released}");
    assert_eq!(released["safety"], true);
    let shown = status().await;
    assert_eq!(shown["status"], "unproven", "{shown}");
    let path = format!("/v1/alerts?unit_id={unit}&kind=safety%20task%20overdue&open=true");
    let told = lead.get(&path).await.expect(200).json();
    assert_eq!(told["items"][0]["severity"], "urgent", "{told}");

    // A deferral that is ended is over at once.
    let path = format!("/v1/deferrals?unit_id={unit}&open=true");
    let deferrals = lead.get(&path).await.expect(200).json();
    for one in deferrals["items"].as_array().expect("a list") {
        let path = format!("/v1/deferrals/{}/end", one["id"].as_str().expect("an id"));
        lead.post(&path, &json!({})).await.expect(200);
    }
    passed(&server, &clock, 0).await;
    let fuel = task(&lead, &unit, "fuel").await;
    assert_eq!(fuel["state"], "long overdue", "{fuel}");
    assert!(fuel.get("deferred_until").is_none());
    // Computed by the clock of the test; by the present it is computed anew.
    super::mark(&server, home).await;
    drained(&server).await;
    assert_stored_is_recomputed(&server, 4).await;
}
