//! Parts of work orders: needed, waited for, used, and where there are more.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::fleet::{entry, feed_is_sound, fleet, items, posted};
use super::stock::{movement, part};
use super::work_orders::changed;

#[tokio::test]
async fn what_is_used_is_booked_in_the_ledger_in_the_same_commit() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let moves = format!("/v1/depots/{home}/stock/moves");
    let (belt, plug) = (
        part(&technician, "auger belt").await,
        part(&technician, "plug").await,
    );
    technician
        .post(&moves, &movement("received", &belt, 5, 9))
        .await
        .expect(201);
    let unit = fleet(&server).await.unit;
    let new = json!({"unit_id": unit, "lines": [{"part": "auger_belt"}]});
    let order = technician
        .post("/v1/work-orders", &new)
        .await
        .expect(201)
        .json();
    let id = order["id"].as_str().unwrap();
    let head = |server: &TestServer| {
        let url = server.owner_url.clone();
        async move {
            let (client, connection) = tokio_postgres::connect(&url, tokio_postgres::NoTls)
                .await
                .unwrap();
            tokio::spawn(connection);
            let row = client
                .query_one("select head from feed_scope where scope_id = $1", &[&home])
                .await;
            row.unwrap().get::<_, i64>(0)
        }
    };
    let before = head(&server).await;
    let uses = json!({"state": "on the bench", "uses": [
        {"part_id": belt, "quantity": 1}, {"part_id": plug, "quantity": 2, "lot": {"code": "B7"}},
    ]});
    let order = changed(&technician, id, &uses).await.expect(200).json();
    assert_eq!(head(&server).await, before + 1, "one commit");
    let mut used = order["used"].as_array().unwrap().clone();
    used.sort_by_key(|used| used["quantity"].as_i64());
    assert_eq!(
        used[0],
        json!({"part_id": belt, "lot": null, "quantity": 1})
    );
    assert_eq!(used[1]["lot"]["code"], "B7");
    let outlook = |order: &Value, part: &str| {
        let parts = order["parts"].as_array().unwrap();
        parts
            .iter()
            .find(|shown| shown["part_id"] == part)
            .unwrap()
            .clone()
    };
    let belts = outlook(&order, &belt);
    assert_eq!(
        (
            &belts["needed"],
            &belts["used"],
            &belts["here"],
            &belts["short"]
        ),
        (&json!(1), &json!(1), &json!(4), &json!(0))
    );
    assert_eq!(outlook(&order, &plug)["here"], -2);
    let booked = items(&technician, &format!("{moves}?work_order_id={id}")).await;
    assert_eq!(booked.len(), 2);

    // Booked in the ledger, or corrected there, it shows on the order: a new version of it.
    let slip = booked.iter().find(|row| row["part_id"] == belt).unwrap();
    let mut back = movement("used", &belt, 0, 1);
    (back["corrects"], back["work_order_id"]) = (slip["id"].clone(), json!(id));
    technician.post(&moves, &back).await.expect(201);
    let mut more = movement("used", &plug, 3, 1);
    (more["lot"], more["work_order_id"]) = (json!({"code": "B7"}), json!(id));
    technician.post(&moves, &more).await.expect(201);
    let shown = technician
        .get(&format!("/v1/work-orders/{id}"))
        .await
        .expect(200)
        .json();
    assert_eq!(shown["used"].as_array().unwrap().len(), 1);
    assert_eq!(
        (&shown["used"][0]["quantity"], &shown["rev"]),
        (&json!(5), &json!(4))
    );
    let entry = entry(&server, home, "work-order", id).await;
    assert_eq!((entry.rev, &entry.doc["used"]), (4, &shown["used"]));
    feed_is_sound(&server).await;

    // A change that fails books nothing.
    let bad = json!({"state": "closed", "uses": [{"part_id": belt, "quantity": 1}]});
    assert_eq!(
        changed(&technician, id, &bad).await.problem(422),
        ["lines[0].done"]
    );
    let booked = items(&technician, &format!("{moves}?work_order_id={id}")).await;
    assert_eq!(booked.len(), 4);
    for (uses, named) in [
        (
            json!([{"part_id": belt, "quantity": 0}]),
            "uses[0].quantity",
        ),
        (
            json!([{"part_id": belt, "quantity": 1, "lot": {"code": ""}}]),
            "uses[0].lot.code",
        ),
        (
            json!([{"part_id": belt, "quantity": 1}, {"part_id": id, "quantity": 1}]),
            "uses[1].part_id",
        ),
        (
            json!(vec![json!({"part_id": belt, "quantity": 1}); 101]),
            "uses",
        ),
    ] {
        let change = json!({"uses": uses});
        assert_eq!(
            changed(&technician, id, &change).await.problem(422),
            [named]
        );
    }
}

#[tokio::test]
async fn an_order_waits_for_parts_that_are_short_here_or_says_for_what() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let belt = part(&manager, "auger belt").await;
    let unit = fleet(&server).await.unit;
    let new = json!({"unit_id": unit, "lines": [{"part": "auger_belt"}]});
    let id = posted(&manager, "/v1/work-orders", &new).await;
    for (depot, quantity) in [(home, 1), (far, 7)] {
        let path = format!("/v1/depots/{depot}/stock/moves");
        manager
            .post(&path, &movement("received", &belt, quantity, 3))
            .await
            .expect(201);
    }
    let wait = json!({"state": "waits for parts"});
    assert_eq!(
        changed(&manager, &id, &wait).await.problem(422),
        ["waits_for"]
    );
    let need = json!({"state": "waits for parts", "needs": [{"part_id": belt, "quantity": 2}]});
    let order = changed(&manager, &id, &need).await.expect(200).json();
    assert_eq!(
        (&order["state"], &order["waits_for"]),
        (&json!("waits for parts"), &Value::Null)
    );
    let shown = &order["parts"][0];
    assert_eq!((&shown["here"], &shown["short"]), (&json!(1), &json!(1)));
    assert_eq!(
        shown["elsewhere"],
        json!([{"depot_id": far, "quantity": 7}])
    );
    // Who may not see the other depot is not told what it has.
    let technician = server.technician().await;
    let seen = technician
        .get(&format!("/v1/work-orders/{id}"))
        .await
        .expect(200)
        .json();
    assert_eq!(seen["parts"][0]["elsewhere"], json!([]));
    // Told in words, and forgotten once it goes on.
    changed(&manager, &id, &json!({"state": "planned"}))
        .await
        .expect(200);
    let words = json!({"state": "waits for parts", "waits_for": "the foundry's casting"});
    let order = changed(&manager, &id, &words).await.expect(200).json();
    assert_eq!(order["waits_for"], "the foundry's casting");
    let order = changed(&manager, &id, &json!({"state": "on the bench"}))
        .await
        .expect(200)
        .json();
    assert_eq!(order["waits_for"], Value::Null);
}

#[tokio::test]
async fn a_change_sent_twice_under_one_key_uses_parts_once() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let belt = part(&technician, "auger belt").await;
    let unit = fleet(&server).await.unit;
    let new = json!({"unit_id": unit, "lines": [{"part": "auger_belt"}]});
    let created = technician.post("/v1/work-orders", &new).await.expect(201);
    let path = created.header("location").to_owned();
    let etag = created.etag();
    let uses = json!({"uses": [{"part_id": belt, "quantity": 1}]});
    let send = async || {
        let request = technician
            .request(reqwest::Method::PATCH, &path)
            .header("If-Match", &etag)
            .header("Idempotency-Key", "bench 3, Tuesday")
            .json(&uses);
        rimeyard_harness::Answer::of(request).await.expect(200)
    };
    assert_eq!(send().await.body, send().await.body);
    let moves = format!("/v1/depots/{home}/stock/moves");
    assert_eq!(items(&technician, &moves).await.len(), 1);
}

/// A kit is kept as its contents: what a sheet's words take of it is needed as these.
#[tokio::test]
async fn a_kit_that_a_job_names_is_needed_as_its_contents() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let (belt, key) = (
        part(&technician, "V-belt").await,
        part(&technician, "pulley key").await,
    );
    let kit = json!({
        "number": "K-1", "name": "Auger belt", "lead_time_days": 14,
        "kit": [{"part_id": belt, "quantity": 1}, {"part_id": key, "quantity": 2}],
    });
    posted(&technician, "/v1/parts", &kit).await;
    let unit = fleet(&server).await.unit;
    let lines = json!([{"part": "auger_belt"}, {"part": "auger_pulley"}]);
    let new = json!({"unit_id": unit, "lines": lines});
    let order = technician
        .post("/v1/work-orders", &new)
        .await
        .expect(201)
        .json();
    let mut needs = order["needs"].as_array().unwrap().clone();
    needs.sort_by_key(|need| need["quantity"].as_i64());
    // One key comes with the belt's kit twice, and the pulley's job takes another.
    let expected = json!([{"part_id": belt, "quantity": 1}, {"part_id": key, "quantity": 3}]);
    assert_eq!(json!(needs), expected);
}
