//! Who is told what, when the district is told, and what clears it: by the facts, never by hand.

use jiff::{SignedDuration, Timestamp, ToSpan, Zoned};
use rimeyard_harness::machines::{Machines, days_ago, sound_inspection};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::drain;
use serde_json::{Value, json};
use uuid::Uuid;

use super::{Moved, drained};

async fn of_kind(actor: &Actor, kind: &str, more: &str) -> Vec<Value> {
    let path = format!("/v1/alerts?kind={}{more}", kind.replace(' ', "%20"));
    let alerts = actor.get(&path).await.expect(200).json();
    alerts["items"].as_array().expect("a list").clone()
}

async fn only(actor: &Actor, kind: &str, more: &str) -> Value {
    let alerts = of_kind(actor, kind, more).await;
    let [alert] = &alerts[..] else {
        panic!("one alert of {kind}, not {alerts:?}")
    };
    alert.clone()
}

#[tokio::test]
async fn a_hold_is_told_taken_up_told_to_the_district_and_cleared_and_the_next_is_another() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let (operator, technician) = (server.operator().await, server.technician().await);
    let district = server.district_manager().await;
    let units = Machines::make_sound(&server.administrator().await, home, 2, 1)
        .await
        .units;
    let hold = async |unit: &str| {
        let tag = json!({"reason": "smells of fuel"});
        let path = format!("/v1/units/{unit}/holds");
        operator.post(&path, &tag).await.expect(201).id()
    };
    let first = hold(&units[0]).await;
    hold(&units[1]).await;
    drained(&server).await;
    let of = |unit: &str| format!("&unit_id={unit}");
    let opened = only(&technician, "unit held", &of(&units[0])).await;
    assert_eq!(
        (&opened["severity"], &opened["rev"]),
        (&json!("warning"), &json!(1))
    );
    assert!(opened["text"].to_string().contains("smells of fuel"));

    let id = opened["id"].as_str().expect("an id");
    let path = format!("/v1/alerts/{id}/acknowledge");
    let word = json!({"word": "fuel line on the bench"});
    let taken = technician.post(&path, &word).await.expect(200).json();
    assert_eq!(taken["acknowledged_with"], "fuel line on the bench");
    technician.post(&path, &word).await.problem(409);

    // Nobody took up the other in three days.
    let clock = Moved::default();
    clock.ahead(SignedDuration::from_hours(3 * 24 + 1));
    drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    let told = only(&district, "unit held", "&escalated=true").await;
    assert_eq!(told["unit_id"], units[1].as_str());
    let kept = only(&district, "unit held", &of(&units[0])).await;
    assert_eq!(kept["escalated_at"], Value::Null, "somebody is at it");

    // Facts clear it: a repair, and an inspection that shows it.
    let mut repair = sound_inspection(&units[0], 0);
    repair["kind"] = json!("after_repair");
    repair["performed_at"] = json!(Timestamp::now());
    let repair = technician.post("/v1/inspections", &repair).await;
    let lift = json!({"inspection_id": repair.expect(201).id()});
    let path = format!("/v1/holds/{first}/lift");
    technician.post(&path, &lift).await.expect(200);
    drained(&server).await;
    let cleared = only(&technician, "unit held", &of(&units[0])).await;
    assert!(cleared["cleared_at"].is_string(), "{cleared}");
    let path = format!("/v1/alerts/{id}/acknowledge");
    technician.post(&path, &word).await.problem(409);

    hold(&units[0]).await;
    drained(&server).await;
    let next = only(
        &technician,
        "unit held",
        &format!("{}&open=true", of(&units[0])),
    )
    .await;
    assert_ne!(next["id"], opened["id"], "opened again it is a new alert");
    assert_eq!(next["acknowledged_at"], Value::Null);
}

#[tokio::test]
async fn the_district_is_told_to_the_second_and_without_a_midnight() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    let unit = Machines::make_sound(&administrator, home, 1, 1)
        .await
        .units
        .remove(0);
    let tag = json!({"reason": "smells of fuel"});
    administrator
        .post(&format!("/v1/units/{unit}/holds"), &tag)
        .await
        .expect(201);
    drained(&server).await;
    let opened = only(&administrator, "unit held", "").await;
    let raised: Timestamp = opened["raised_at"]
        .as_str()
        .and_then(|at| at.parse().ok())
        .expect("an instant");
    let patience = SignedDuration::from_hours(3 * 24);
    // Every midnight until then was computed; what is left is the alert's own time.
    let clock = Moved::default();
    clock.to(raised + patience - SignedDuration::from_secs(60));
    drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(
        of_kind(&administrator, "unit held", "&escalated=true")
            .await
            .len(),
        0
    );
    clock.to(raised + patience);
    let done = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(done.recomputed, 1, "its depot and no other");
    assert_eq!(
        of_kind(&administrator, "unit held", "&escalated=true")
            .await
            .len(),
        1
    );
}

#[tokio::test]
async fn an_order_that_stands_still_and_a_shelf_that_is_short_are_told() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    let unit = Machines::make_sound(&administrator, home, 1, 1)
        .await
        .units
        .remove(0);
    let name = Uuid::now_v7().to_string();
    let part = json!({"number": name, "name": name, "title": "Auger belt", "lead_time_days": 9});
    let part = administrator
        .post("/v1/parts", &part)
        .await
        .expect(201)
        .id();
    let today = Zoned::now().date();
    let order = json!({
        "unit_id": unit, "title": "Renew the auger belt", "planned_for": today.saturating_add(2.days()),
        "lines": [{"title": "Renew the auger belt"}], "needs": [{"part_id": part, "quantity": 2}],
    });
    administrator
        .post("/v1/work-orders", &order)
        .await
        .expect(201);
    drained(&server).await;
    let short = only(&administrator, "spares short", "").await;
    assert_eq!(
        short["text"],
        "Auger belt: open orders want 2, on the shelf 0"
    );
    assert_eq!(short["subject_id"], part.as_str());
    assert_eq!(
        of_kind(&administrator, "work order stuck", "").await.len(),
        0
    );

    let received =
        json!({"move": "received", "part_id": part, "quantity": 2, "happened_at": days_ago(0)});
    let path = format!("/v1/depots/{home}/stock/moves");
    administrator.post(&path, &received).await.expect(201);
    let clock = Moved::default();
    clock.ahead(SignedDuration::from_hours(11 * 24));
    drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    let short = only(&administrator, "spares short", "").await;
    assert!(short["cleared_at"].is_string(), "{short}");
    let stuck = only(&administrator, "work order stuck", "").await;
    let text = stuck["text"].as_str().expect("a text");
    assert!(
        text.contains("Renew the auger belt: was planned for") && text.ends_with("still open"),
        "{text}"
    );
}

#[tokio::test]
async fn a_depot_short_for_a_storm_that_is_coming_is_told_and_the_design_storm_tells_nothing() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    Machines::make_sound(&administrator, home, 1, 1).await;
    drained(&server).await;
    let path = format!("/v1/readiness/depots/{home}");
    let shown = administrator.get(&path).await.expect(200).json();
    assert_eq!(
        of_kind(&administrator, "depot short for a storm", "")
            .await
            .len(),
        0,
        "{shown}"
    );
    // More than one machine can throw, whatever works.
    let starts = Timestamp::now() + SignedDuration::from_hours(20);
    let storm = json!({
        "name": "the great one", "starts_at": starts, "ends_at": starts + SignedDuration::from_hours(30),
        "depth_mm": 3000, "reclear_mm": 20, "depots": [home],
    });
    administrator.post("/v1/storms", &storm).await.expect(201);
    drained(&server).await;
    let told = only(&administrator, "depot short for a storm", "").await;
    assert_eq!(told["severity"], "urgent");
    assert_eq!(told["subject_id"], home.to_string());
    assert!(told["text"].to_string().contains("the great one"), "{told}");
}
