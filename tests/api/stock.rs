//! /v1/depots/{depot_id}/stock

use jiff::Timestamp;
use rimeyard_harness::{Actor, TestServer};
use serde_json::{Value, json};

use super::fleet::{audited, days_ago, entry, feed_is_sound, items, marks, posted};

/// A part that ages on the shelf.
pub async fn belt(actor: &Actor) -> String {
    part(actor, "auger belt").await
}

/// A part of this name.
pub async fn part(actor: &Actor, name: &str) -> String {
    let new = json!({"number": name, "name": name, "lead_time_days": 14, "shelf_life_days": 2191});
    posted(actor, "/v1/parts", &new).await
}

/// A movement of so many of a part, so many days ago.
pub fn movement(what: &str, part: &str, quantity: i64, days: i64) -> Value {
    json!({"move": what, "part_id": part, "quantity": quantity, "happened_at": days_ago(days)})
}

/// A movement of a lot.
fn of_lot(mut movement: Value, code: &str) -> Value {
    movement["lot"] = json!({"code": code});
    movement
}

/// What there is of a part on a shelf.
async fn on_shelf(actor: &Actor, depot: uuid::Uuid, part: &str) -> Value {
    let path = format!("/v1/depots/{depot}/stock?part_id={part}");
    items(actor, &path).await.remove(0)
}

#[tokio::test]
async fn what_comes_and_goes_is_booked_and_a_count_says_what_there_is() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home;
    let path = format!("/v1/depots/{}/stock/moves", home.id);
    let belt = belt(&technician).await;
    let before = marks(&server, &home).await;
    let booked = technician
        .post(&path, &movement("received", &belt, 10, 30))
        .await
        .expect(201)
        .json();
    let level = booked["levels"][0].clone();
    assert_eq!((&level["quantity"], &level["rev"]), (&json!(10), &json!(1)));
    assert_eq!(marks(&server, &home).await, before + 1);
    for (what, quantity, days) in [("used", 3, 20), ("counted", 5, 10), ("used", 1, 5)] {
        technician
            .post(&path, &movement(what, &belt, quantity, days))
            .await
            .expect(201);
    }
    assert_eq!(on_shelf(&technician, home.id, &belt).await["quantity"], 4);
    // Known late, it was before the count: the count stands.
    let late = technician
        .post(&path, &movement("used", &belt, 2, 15))
        .await
        .expect(201)
        .json();
    assert_eq!(late["levels"], json!([]));
    assert_eq!(on_shelf(&technician, home.id, &belt).await["quantity"], 4);
    // Nothing takes effect before it was known: a clock a year ahead does not.
    let ahead = technician
        .post(&path, &movement("received", &belt, 1, -365))
        .await
        .expect(201)
        .json();
    assert_eq!(
        ahead["moves"][0]["flags"],
        json!(["suspect", "in the future"])
    );
    let entry = entry(
        &server,
        home.id,
        "stock-level",
        level["id"].as_str().unwrap(),
    )
    .await;
    assert_eq!((&entry.doc["quantity"], entry.rev), (&json!(5), 5));
    assert_eq!(ahead["levels"][0], entry.doc);
    feed_is_sound(&server).await;
    let moves = items(&technician, &format!("{path}?part_id={belt}")).await;
    assert_eq!(moves.len(), 6);
    let audited = audited(&server, moves[0]["id"].as_str().unwrap()).await;
    assert_eq!(audited[0].0, "book");
}

#[tokio::test]
async fn the_books_may_have_less_than_nothing_and_say_so() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let belt = belt(&technician).await;
    let used = technician
        .post(&path, &movement("used", &belt, 2, 1))
        .await
        .expect(201)
        .json();
    assert_eq!(used["levels"][0]["quantity"], -2);
    assert_eq!(used["levels"][0]["flags"], json!(["short on paper"]));
    let shelf = on_shelf(&technician, home, &belt).await;
    assert_eq!(shelf["flags"], json!(["short on paper"]));
    technician
        .post(&path, &movement("counted", &belt, 0, 0))
        .await
        .expect(201);
    let shelf = on_shelf(&technician, home, &belt).await;
    assert_eq!((&shelf["flags"], &shelf["lots"]), (&json!([]), &json!([])));
}

#[tokio::test]
async fn the_oldest_lot_is_suggested_first_and_any_may_be_taken() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let belt = belt(&technician).await;
    let today = Timestamp::now().to_zoned(jiff::tz::TimeZone::get("America/Denver").unwrap());
    for (code, age) in [("NEW", 100), ("OLD", 3000), ("MID", 900)] {
        let mut received = movement("received", &belt, 2, 3);
        let made_on = today.date().saturating_sub(jiff::Span::new().days(age));
        received["lot"] = json!({"code": code, "made_on": made_on});
        technician.post(&path, &received).await.expect(201);
    }
    technician
        .post(&path, &movement("received", &belt, 1, 3))
        .await
        .expect(201);
    let used = of_lot(movement("used", &belt, 1, 2), "MID");
    let used = technician.post(&path, &used).await.expect(201).json();
    assert!(used["moves"][0]["lot"]["made_on"].is_string(), "{used}");
    let shelf = on_shelf(&technician, home, &belt).await;
    let lots = shelf["lots"].as_array().unwrap();
    let told: Vec<_> = lots
        .iter()
        .map(|lot| {
            (
                lot["lot"]["code"].as_str(),
                lot["quantity"].as_i64().unwrap(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (Some("OLD"), 2),
            (Some("MID"), 1),
            (Some("NEW"), 2),
            (None, 1)
        ]
    );
    assert_eq!(lots[0]["age_days"], 3000);
    assert_eq!(lots[0]["flags"], json!(["past its shelf life"]));
    assert!(lots[1]["best_before"].is_string() && lots[3]["best_before"].is_null());
    // Two lots of one code: which is meant must be said.
    let mut other = movement("received", &belt, 1, 1);
    other["lot"] = json!({"code": "MID", "made_on": "2020-01-01"});
    technician.post(&path, &other).await.expect(201);
    let used = of_lot(movement("used", &belt, 1, 0), "MID");
    assert_eq!(
        technician.post(&path, &used).await.problem(422),
        ["lot.made_on"]
    );
}

#[tokio::test]
async fn a_kit_is_booked_as_its_contents() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let (belt, plug) = (
        belt(&technician).await,
        part(&technician, "spark plug").await,
    );
    let kit = json!({
        "number": "KIT", "name": "season kit", "lead_time_days": 1,
        "kit": [{"part_id": belt, "quantity": 2}, {"part_id": plug, "quantity": 1}],
    });
    let kit = posted(&technician, "/v1/parts", &kit).await;
    let booked = technician
        .post(&path, &movement("received", &kit, 3, 2))
        .await
        .expect(201)
        .json();
    let told: Vec<_> = booked["moves"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            (
                row["part_id"].clone(),
                row["quantity"].clone(),
                row["kit_id"].clone(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            (json!(belt), json!(6), json!(kit)),
            (json!(plug), json!(3), json!(kit))
        ]
    );
    technician
        .post(&path, &movement("used", &kit, 1, 1))
        .await
        .expect(201);
    assert_eq!(on_shelf(&technician, home, &belt).await["quantity"], 4);
    assert_eq!(on_shelf(&technician, home, &plug).await["quantity"], 2);
    assert_eq!(
        technician
            .post(&path, &movement("counted", &kit, 1, 0))
            .await
            .problem(422),
        ["part_id"]
    );
    assert_eq!(
        technician
            .post(&path, &of_lot(movement("used", &kit, 1, 0), "A"))
            .await
            .problem(422),
        ["lot"]
    );
}

#[tokio::test]
async fn what_is_moved_leaves_one_depot_and_arrives_in_the_other_at_once() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let path = format!("/v1/depots/{home}/stock/moves");
    let belt = belt(&manager).await;
    manager
        .post(&path, &movement("received", &belt, 9, 2))
        .await
        .expect(201);
    let mut moved = movement("moved", &belt, 4, 1);
    moved["to_depot_id"] = json!(far);
    let booked = manager.post(&path, &moved).await.expect(201).json();
    assert_eq!(on_shelf(&manager, home, &belt).await["quantity"], 5);
    assert_eq!(on_shelf(&manager, far, &belt).await["quantity"], 4);
    feed_is_sound(&server).await;
    // Who is granted one end sees that parts left, and not where to.
    let technician = server.technician().await;
    let seen = items(&technician, &path).await.pop().unwrap();
    assert_eq!(
        (&seen["from_depot_id"], &seen["to_depot_id"]),
        (&json!(home), &Value::Null)
    );
    moved["to_depot_id"] = json!(far);
    assert_eq!(
        technician.post(&path, &moved).await.problem(422),
        ["to_depot_id"]
    );
    let mut back = movement("moved", &belt, 0, 1);
    back["to_depot_id"] = json!(far);
    back["corrects"] = booked["moves"][0]["id"].clone();
    let mut blind = movement("used", &belt, 0, 1);
    blind["corrects"] = back["corrects"].clone();
    assert_eq!(
        technician.post(&path, &blind).await.problem(409),
        ["corrects"]
    );
    manager.post(&path, &back).await.expect(201);
    assert_eq!(on_shelf(&manager, home, &belt).await["quantity"], 9);
    assert_eq!(on_shelf(&manager, far, &belt).await["quantity"], 0);
    let far_moves = items(&manager, &format!("/v1/depots/{far}/stock/moves")).await;
    assert_eq!(far_moves.len(), 2);
    assert_eq!(far_moves[0]["corrected_by"], far_moves[1]["id"]);
}

#[tokio::test]
async fn a_slip_is_corrected_once_and_both_stay_in_the_ledger() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let (belt, plug) = (
        belt(&technician).await,
        part(&technician, "spark plug").await,
    );
    let booked = technician
        .post(&path, &movement("received", &belt, 100, 2))
        .await
        .expect(201)
        .json();
    let mut right = movement("received", &belt, 10, 2);
    right["corrects"] = booked["moves"][0]["id"].clone();
    let mut wrong_part = right.clone();
    wrong_part["part_id"] = json!(plug);
    assert_eq!(
        technician.post(&path, &wrong_part).await.problem(422),
        ["corrects"]
    );
    let correction = technician.post(&path, &right).await.expect(201).json();
    assert_eq!(correction["levels"][0]["quantity"], 10);
    assert_eq!(
        technician.post(&path, &right).await.problem(409),
        ["corrects"]
    );
    let mut into_lot = of_lot(movement("received", &belt, 10, 2), "A");
    into_lot["corrects"] = correction["moves"][0]["id"].clone();
    technician.post(&path, &into_lot).await.expect(201);
    let shelf = on_shelf(&technician, home, &belt).await;
    assert_eq!(shelf["lots"][0]["lot"]["code"], "A");
    assert_eq!(
        (&shelf["quantity"], shelf["lots"].as_array().unwrap().len()),
        (&json!(10), 1)
    );
}

#[tokio::test]
async fn the_same_movement_sent_twice_counts_once() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let belt = belt(&technician).await;
    let received = movement("received", &belt, 5, 1);
    let send = async || {
        let request = technician
            .request(reqwest::Method::POST, &path)
            .header("Idempotency-Key", "delivery 17")
            .json(&received);
        rimeyard_harness::Answer::of(request).await.expect(201)
    };
    assert_eq!(send().await.body, send().await.body);
    let mut with_id = received.clone();
    with_id["id"] = json!(uuid::Uuid::now_v7());
    technician.post(&path, &with_id).await.expect(201);
    assert_eq!(technician.post(&path, &with_id).await.problem(409), ["id"]);
    assert_eq!(on_shelf(&technician, home, &belt).await["quantity"], 10);
}
