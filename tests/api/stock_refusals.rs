//! What no movement of stock can be.

use jiff::{SignedDuration, Timestamp};
use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::fleet::items;
use super::stock::{belt, movement};

#[tokio::test]
async fn what_no_movement_can_be_is_named_and_nothing_is_booked() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let path = format!("/v1/depots/{home}/stock/moves");
    let belt = belt(&technician).await;
    let absent = "0198c0de-0000-7000-8000-000000000000";
    let tomorrow = (Timestamp::now() + SignedDuration::from_hours(96)).to_string();
    for (what, field, value, named) in [
        ("used", "quantity", json!(0), "quantity"),
        ("used", "quantity", json!(-1), "quantity"),
        ("used", "quantity", json!(1.5), "quantity"),
        ("used", "quantity", json!(1_000_001), "quantity"),
        ("used", "quantity", json!(1e300), "quantity"),
        ("used", "part_id", json!(absent), "part_id"),
        ("used", "part_id", json!("belt"), "part_id"),
        ("stolen", "reason", json!("x"), "move"),
        ("lost", "reason", Value::Null, "reason"),
        ("used", "reason", json!("a\u{0}b"), "reason"),
        ("used", "reason", json!("x".repeat(501)), "reason"),
        ("used", "lot", json!({"code": ""}), "lot.code"),
        ("used", "lot", json!({"code": "a\u{0}"}), "lot.code"),
        (
            "used",
            "lot",
            json!({"code": "A", "made_on": tomorrow[..10]}),
            "lot.made_on",
        ),
        (
            "used",
            "lot",
            json!({"code": "A", "made_on": "2024-02-30"}),
            "lot.made_on",
        ),
        ("moved", "to_depot_id", Value::Null, "to_depot_id"),
        ("moved", "to_depot_id", json!(home), "to_depot_id"),
        ("moved", "to_depot_id", json!(absent), "to_depot_id"),
        ("used", "to_depot_id", json!(home), "to_depot_id"),
        ("used", "work_order_id", json!(absent), "work_order_id"),
        ("received", "work_order_id", json!(absent), "work_order_id"),
        ("used", "corrects", json!(absent), "corrects"),
        ("used", "happened_at", json!("yesterday"), "happened_at"),
        (
            "used",
            "happened_at",
            json!("1800-01-01T00:00:00Z"),
            "happened_at",
        ),
        ("used", "id", json!(absent.replace('7', "4")), "id"),
        ("used", "colour", json!("red"), "colour"),
    ] {
        let mut new = movement(what, &belt, 1, 1);
        new[field] = value;
        assert_eq!(
            technician.post(&path, &new).await.problem(422),
            [named],
            "{new}"
        );
    }
    for query in ["limit=201", "cursor=x", "part_id=x", "colour=red"] {
        let field = query.split('=').next().unwrap();
        for path in [&path, &format!("/v1/depots/{home}/stock")] {
            let path = format!("{path}?{query}");
            assert_eq!(technician.get(&path).await.problem(400), [field]);
        }
    }
    assert!(items(&technician, &path).await.is_empty());
    let new = movement("used", &belt, 1, 1);
    server.operator().await.post(&path, &new).await.problem(403);
}
