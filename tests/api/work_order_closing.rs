//! PATCH /v1/work-orders/{work_order_id}: states, proof, and who was first.

use rimeyard_harness::TestServer;
use rimeyard_rules::order::State;
use serde_json::{Value, json};

use super::fleet::{Fleet, days_ago, entry, feed_is_sound, fleet, items, owner, posted};
use super::work_orders::{changed, inspected, no_tool, order_of, sound_shoes, worn_shoes};

#[tokio::test]
async fn the_states_are_those_of_the_table() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    let new = json!({"unit_id": unit, "lines": [{"title": "Look at it"}]});
    // Each state by a way that leads there, then every other one from it.
    let ways: [(State, &[&str]); 7] = [
        (State::Found, &[]),
        (State::Planned, &["planned"]),
        (State::WaitsForParts, &["waits for parts"]),
        (State::OnTheBench, &["on the bench"]),
        (State::ToBeProved, &["on the bench", "to be proved"]),
        (State::Closed, &["on the bench", "closed"]),
        (State::Dropped, &["dropped"]),
    ];
    let step = |to: &str| {
        let mut change = json!({"state": to});
        match to {
            "dropped" => change["drop_reason"] = json!("not worth it"),
            "waits for parts" => change["waits_for"] = json!("a casting"),
            "closed" => change["done"] = json!(true),
            _ => {}
        }
        change
    };
    for (from, way) in ways {
        for to in State::ALL {
            let order = technician
                .post("/v1/work-orders", &new)
                .await
                .expect(201)
                .json();
            let id = order["id"].as_str().unwrap();
            let with_line = |mut change: Value| {
                if change.as_object_mut().unwrap().remove("done").is_some() {
                    change["lines"] = json!([{"id": order["lines"][0]["id"], "done": true}]);
                }
                change
            };
            for state in way {
                changed(&technician, id, &with_line(step(state)))
                    .await
                    .expect(200);
            }
            let answer = changed(&technician, id, &with_line(step(to.as_str()))).await;
            if from.is_final() {
                answer.problem(409);
            } else if to == from || from.next().contains(&to) {
                assert_eq!(answer.expect(200).json()["state"], to.as_str());
            } else {
                assert_eq!(answer.problem(422), ["state"], "{from:?} to {to:?}");
            }
        }
    }
}

#[tokio::test]
async fn an_order_closes_once_each_finding_on_it_is_proved_right_after_the_work() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    let found = inspected(&technician, &unit, 9, json!([worn_shoes(), no_tool()])).await;
    let hold = found["holds"][0]["id"].as_str().unwrap().to_owned();
    let order = order_of(&technician, &unit).await;
    let id = order["id"].as_str().unwrap().to_owned();
    let line = |index: usize| order["lines"][index]["id"].clone();
    let close = json!({"state": "closed"});
    changed(&technician, &id, &json!({"state": "on the bench"}))
        .await
        .expect(200);
    // Nothing is done and nothing proved: each line, and each check, by name.
    let answer = changed(&technician, &id, &close).await;
    assert_eq!(
        answer.problem(422),
        ["lines[0].done", "lines[1].done", "proved_by", "proved_by"]
    );
    for check in ["skid_thickness", "clean_out_tool"] {
        assert!(
            answer
                .body
                .contains(&format!("{check} is still to be proved")),
            "{}",
            answer.body
        );
    }
    let done = json!({"lines": [
        {"id": line(0), "done": true, "done_at": days_ago(5), "minutes_worked": 12},
        {"id": line(1), "done": true, "done_at": days_ago(5)},
    ]});
    changed(&technician, &id, &done).await.expect(200);
    let proved_by = |inspection: &Value| json!({"state": "closed", "proved_by": inspection["id"]});
    let tool = json!({"check": "clean_out_tool", "works": true});
    // Before the work, of half of it, and of another machine.
    let early = inspected(&technician, &unit, 7, json!([sound_shoes(), tool])).await;
    let answer = changed(&technician, &id, &proved_by(&early)).await;
    assert_eq!(answer.problem(422), ["proved_by", "proved_by"]);
    assert!(
        answer.body.contains("before the work was done"),
        "{}",
        answer.body
    );
    let half = inspected(&technician, &unit, 4, json!([sound_shoes()])).await;
    let answer = changed(&technician, &id, &proved_by(&half)).await;
    assert_eq!(answer.problem(422), ["proved_by"]);
    assert!(
        answer.body.contains("clean_out_tool is still to be proved"),
        "{}",
        answer.body
    );
    let other = fleet(&server).await.unit;
    let of_other = inspected(&technician, &other, 3, json!([sound_shoes(), tool])).await;
    assert_eq!(
        changed(&technician, &id, &proved_by(&of_other))
            .await
            .problem(422),
        ["proved_by"]
    );
    // Worn, though not worn out: no proof.
    let marginal = json!([{"check": "skid_thickness", "value": 2.5, "unit": "mm"}, tool]);
    let marginal = inspected(&technician, &unit, 3, marginal).await;
    let answer = changed(&technician, &id, &proved_by(&marginal)).await;
    assert_eq!(answer.problem(422), ["proved_by"]);
    let good = inspected(&technician, &unit, 2, json!([sound_shoes(), tool])).await;
    let closed = changed(&technician, &id, &proved_by(&good))
        .await
        .expect(200)
        .json();
    assert_eq!(closed["state"], "closed");
    assert!(closed["ended_at"].is_string() && closed["ended_by"].is_string());
    // It lifts no tag: that is done by itself, with the same proof.
    let tag = technician
        .get(&format!("/v1/holds/{hold}"))
        .await
        .expect(200)
        .json();
    assert_eq!(tag["lifted_at"], Value::Null);
    technician
        .post(
            &format!("/v1/holds/{hold}/lift"),
            &json!({"inspection_id": good["id"]}),
        )
        .await
        .expect(200);
    changed(&technician, &id, &json!({"note": "late"}))
        .await
        .problem(409);
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn a_proof_that_was_overtaken_or_corrected_is_none() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let unit = fleet(&server).await.unit;
    inspected(&technician, &unit, 9, json!([worn_shoes()])).await;
    let order = order_of(&technician, &unit).await;
    let id = order["id"].as_str().unwrap().to_owned();
    let bench = json!({
        "state": "on the bench", "lines": [{"id": order["lines"][0]["id"], "done_at": days_ago(8)}],
    });
    changed(&technician, &id, &bench).await.expect(200);
    let good = inspected(&technician, &unit, 6, json!([sound_shoes()])).await;
    inspected(&technician, &unit, 5, json!([worn_shoes()])).await;
    let close = json!({"state": "closed", "proved_by": good["id"]});
    // The finding of the order is closed; the shoes wore through again, which is another finding, on another order.
    changed(&technician, &id, &close).await.expect(200);
    let second = order_of(&technician, &unit).await;
    assert_ne!(second["id"], json!(id));
    let id = second["id"].as_str().unwrap();
    let bench = json!({
        "state": "on the bench", "lines": [{"id": second["lines"][0]["id"], "done_at": days_ago(4)}],
    });
    changed(&technician, id, &bench).await.expect(200);
    let wrong = inspected(&technician, &unit, 3, json!([sound_shoes()])).await;
    let correction = json!({
        "unit_id": unit, "kind": "in_season", "performed_at": days_ago(3), "corrects": wrong["id"],
        "readings": [worn_shoes()],
    });
    posted(&technician, "/v1/inspections", &correction).await;
    let close = json!({"state": "closed", "proved_by": wrong["id"]});
    let answer = changed(&technician, id, &close).await;
    assert_eq!(answer.problem(422), ["proved_by"]);
    assert!(answer.body.contains("was corrected"), "{}", answer.body);
    // Taken off with words, the line asks for no proof; and then nothing is left to close.
    let off = json!({"lines": [
        {"id": second["lines"][0]["id"], "done": false, "taken_off": "the machine is scrapped in spring"},
    ]});
    changed(&technician, id, &off).await.expect(200);
    assert_eq!(
        changed(&technician, id, &json!({"state": "closed"}))
            .await
            .problem(422),
        ["state"]
    );
    let rest = json!({"state": "closed", "lines": [{"title": "Sweep it off", "done": true}]});
    changed(&technician, id, &rest).await.expect(200);
}

#[tokio::test]
async fn of_two_technicians_on_one_order_the_second_is_told() {
    let server = TestServer::start().await;
    let (one, other) = (server.technician().await, server.depot_lead().await);
    let unit = fleet(&server).await.unit;
    let created = one
        .post(
            "/v1/work-orders",
            &json!({"unit_id": unit, "symptom": "rattles"}),
        )
        .await
        .expect(201);
    let path = created.header("location").to_owned();
    let bench = json!({"state": "on the bench"});
    let title = json!({"title": "Rattles at the chute"});
    let etag = created.etag();
    let (first, second) = futures::join!(
        one.patch(&path, &etag, &bench),
        other.patch(&path, &etag, &title)
    );
    let mut statuses = [first.status, second.status];
    statuses.sort_unstable();
    assert_eq!(statuses, [200, 412]);
    let request = one.request(reqwest::Method::PATCH, &path).json(&bench);
    rimeyard_harness::Answer::of(request).await.problem(428);
}

#[tokio::test]
async fn orders_go_along_with_their_unit_and_one_with_open_orders_is_not_retired() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let unit = Fleet::at(&administrator, &home).await.unit;
    let fault = |symptom: &str| json!({"unit_id": unit, "symptom": symptom});
    let dropped = posted(&administrator, "/v1/work-orders", &fault("an old one")).await;
    let drop = json!({"state": "dropped", "drop_reason": "went away"});
    changed(&administrator, &dropped, &drop).await.expect(200);
    let open = posted(&administrator, "/v1/work-orders", &fault("rattles")).await;
    let path = format!("/v1/units/{unit}");
    let etag = administrator.get(&path).await.etag();
    administrator
        .patch(&path, &etag, &json!({"depot_id": far.id}))
        .await
        .expect(200);
    let old = entry(&server, home.id, "work-order", &open).await;
    assert_eq!((old.deleted, old.doc), (true, json!({"moved": true})));
    let new = entry(&server, far.id, "work-order", &open).await;
    let shown = administrator
        .get(&format!("/v1/work-orders/{open}"))
        .await
        .expect(200)
        .json();
    assert_eq!(
        (&new.doc["depot_id"], &new.doc["rev"], new.rev),
        (
            &json!(far.id),
            &shown["rev"],
            shown["rev"].as_i64().unwrap()
        )
    );
    assert!(
        !entry(&server, home.id, "work-order", &dropped)
            .await
            .deleted
    );
    feed_is_sound(&server).await;
    assert!(
        items(&server.technician().await, "/v1/work-orders?open=true")
            .await
            .is_empty()
    );
    changed(&administrator, &open, &json!({"state": "on the bench"}))
        .await
        .expect(200);

    let retire = json!({"retired_at": days_ago(0)});
    let etag = administrator.get(&path).await.etag();
    assert_eq!(
        administrator
            .patch(&path, &etag, &retire)
            .await
            .problem(409),
        ["retired_at"]
    );
    changed(&administrator, &open, &drop).await.expect(200);
    administrator.patch(&path, &etag, &retire).await.expect(200);
    let late = fault("one more");
    assert_eq!(
        administrator
            .post("/v1/work-orders", &late)
            .await
            .problem(422),
        ["unit_id"]
    );
    // What is found on it after all opens none.
    let found = inspected(&administrator, &unit, 1, json!([worn_shoes()])).await;
    assert_eq!(
        found["proposed_work_orders"][0]["work_order_id"],
        Value::Null
    );
}

#[tokio::test]
async fn the_tasks_on_it_are_done_once_it_closes() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    let home = server.world.ours.home.id;
    let unit = fleet(&server).await.unit;
    let new = json!({"unit_id": unit, "lines": [
        {"task": "engine_oil"}, {"task": "engine_oil"}, {"task": "controls"}, {"title": "Wash it"},
    ]});
    let order = technician
        .post("/v1/work-orders", &new)
        .await
        .expect(201)
        .json();
    let id = order["id"].as_str().unwrap();
    let line = |index: usize| order["lines"][index]["id"].clone();
    let (first, last) = (days_ago(3), days_ago(2));
    let bench = json!({"state": "on the bench", "lines": [
        {"id": line(0), "done_at": first}, {"id": line(1), "done_at": last},
        {"id": line(2), "taken_off": "tried last week"}, {"id": line(3), "done": true},
    ]});
    changed(&technician, id, &bench).await.expect(200);
    let done = async || {
        let rows = owner(&server)
            .await
            .query(
                "select doc from feed_entry where scope_id = $1 and kind = 'task-done' and not deleted",
                &[&home],
            )
            .await
            .unwrap();
        let docs = rows
            .iter()
            .map(|row| serde_json::from_str(row.get(0)).unwrap());
        docs.collect::<Vec<Value>>()
    };
    assert!(done().await.is_empty());
    changed(&technician, id, &json!({"state": "closed"}))
        .await
        .expect(200);
    // Once, at the later of its two lines; what was taken off was not done.
    let done = done().await;
    assert_eq!(done.len(), 1, "{done:?}");
    assert_eq!(
        (
            &done[0]["task"],
            &done[0]["work_order_id"],
            &done[0]["unit_id"]
        ),
        (&json!("engine_oil"), &json!(id), &json!(unit))
    );
    let at = |text: &str| text.parse::<jiff::Timestamp>().unwrap().as_microsecond();
    assert_eq!(at(done[0]["done_at"].as_str().unwrap()), at(&last));
    feed_is_sound(&server).await;
}
