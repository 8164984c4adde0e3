//! What is written shows, soon, and nothing is published that did not change.

use std::time::Duration;

use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use serde_json::json;

use super::{Running, assert_stored_is_recomputed, drained, eventually, head, mark, settings};

/// All depots of the test world: two organisations with two each.
const DEPOTS: usize = 4;

#[tokio::test]
async fn a_write_shows_in_readiness_within_a_second() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&administrator, home, 3, 1).await;
    let worker = Running::start(&server.database, settings());
    let operator = server.operator().await;
    let path = format!("/v1/readiness/depots/{home}");
    let held = async || {
        let depot = operator.get(&path).await.expect(200).json();
        depot["units"]["held"].as_u64()
    };
    eventually(
        "the first computation",
        Duration::from_secs(30),
        async || {
            held().await == Some(0) && operator.get(&path).await.json()["machines"][2].is_object()
        },
    )
    .await;

    let tag = json!({"reason": "fuel drips from the carburettor"});
    operator
        .post(&format!("/v1/units/{}/holds", machines.units[1]), &tag)
        .await
        .expect(201);
    eventually("the hold shows", Duration::from_secs(1), async || {
        held().await == Some(1)
    })
    .await;

    let unit = operator
        .get(&format!("/v1/readiness/units/{}", machines.units[1]))
        .await
        .expect(200)
        .json();
    assert_eq!(unit["status"], "held");
    worker.stop().await;
    assert_stored_is_recomputed(&server, DEPOTS).await;
}

#[tokio::test]
async fn a_fault_that_an_operator_reports_changes_where_the_machine_stands() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let unit = Machines::make_sound(&server.administrator().await, home, 1, 1)
        .await
        .units
        .remove(0);
    drained(&server).await;
    let operator = server.operator().await;
    let path = format!("/v1/readiness/units/{unit}");
    let status = async || operator.get(&path).await.expect(200).json();
    assert_eq!(status().await["status"], "ready");
    let fault = json!({"unit_id": unit, "symptom": "will not throw"});
    operator.post("/v1/work-orders", &fault).await.expect(201);
    drained(&server).await;
    let stands = status().await;
    assert_eq!(stands["status"], "unproven");
    assert!(
        stands["summary"]
            .to_string()
            .contains("will not throw; not inspected since"),
        "{stands}"
    );
    assert_stored_is_recomputed(&server, DEPOTS).await;
}

#[tokio::test]
async fn the_same_facts_publish_nothing_a_second_time() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    Machines::make_sound(&server.administrator().await, home, 3, 1).await;
    let first = drained(&server).await;
    assert_eq!(first.recomputed, DEPOTS);
    assert_eq!(first.documents, DEPOTS + 3, "each depot and each unit");
    let before = head(&server, home).await;

    mark(&server, home).await;
    let second = drained(&server).await;
    assert_eq!((second.recomputed, second.documents), (1, 0));
    assert_eq!(head(&server, home).await, before, "no commit in the feed");
    assert_eq!(drained(&server).await.recomputed, 0, "nothing is due");
    assert_stored_is_recomputed(&server, DEPOTS).await;
}

#[tokio::test]
async fn only_the_documents_that_changed_are_published() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    let machines = Machines::make_sound(&administrator, home, 4, 1).await;
    drained(&server).await;

    let away = json!({"away": "the workshop in the valley"});
    let path = format!("/v1/units/{}", machines.units[2]);
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator.patch(&path, &etag, &away).await.expect(200);
    let done = drained(&server).await;
    assert_eq!(
        (done.recomputed, done.documents),
        (1, 2),
        "the unit and its depot, not its neighbours"
    );
}

#[tokio::test]
async fn what_is_computed_of_a_unit_goes_with_it() {
    let server = TestServer::start().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let administrator = server.administrator().await;
    let machines = Machines::make_sound(&administrator, home, 2, 1).await;
    drained(&server).await;
    let machines_of = async |depot| {
        let path = format!("/v1/readiness/depots/{depot}");
        let depot = administrator.get(&path).await.expect(200).json();
        let machines = depot["machines"].as_array().expect("a list").iter();
        machines
            .map(|unit| unit["unit_id"].as_str().expect("an id").to_owned())
            .collect::<Vec<_>>()
    };
    let change = async |unit: &str, change| {
        let path = format!("/v1/units/{unit}");
        let etag = administrator.get(&path).await.expect(200).etag();
        administrator.patch(&path, &etag, &change).await.expect(200);
        drained(&server).await;
        assert_stored_is_recomputed(&server, DEPOTS).await;
    };

    change(&machines.units[0], json!({"depot_id": far})).await;
    assert_eq!(machines_of(home).await, machines.units[1..]);
    assert_eq!(machines_of(far).await, machines.units[..1]);
    change(&machines.units[0], json!({"depot_id": home})).await;
    assert_eq!(machines_of(home).await, machines.units);
    change(
        &machines.units[1],
        json!({"retired_at": rimeyard_harness::machines::days_ago(0)}),
    )
    .await;
    assert_eq!(machines_of(home).await, machines.units[..1]);
    administrator
        .get(&format!("/v1/readiness/units/{}", machines.units[1]))
        .await
        .problem(404);
}

#[tokio::test]
async fn a_person_who_is_renamed_is_renamed_in_every_reason() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let machines = Machines::make_sound(&administrator, home, 1, 1).await;
    drained(&server).await;
    let proven_by = async || {
        let path = format!("/v1/readiness/units/{}", machines.units[0]);
        administrator.get(&path).await.expect(200).json()["proof"]["by"].clone()
    };
    assert_eq!(proven_by().await, "The administrator");
    let me = administrator.get("/v1/me").await.expect(200).json();
    let path = format!("/v1/people/{}", me["person_id"].as_str().expect("an id"));
    let etag = administrator.get(&path).await.expect(200).etag();
    administrator
        .patch(&path, &etag, &json!({"name": "A. Newname"}))
        .await
        .expect(200);
    drained(&server).await;
    assert_eq!(proven_by().await, "A. Newname");
    assert_stored_is_recomputed(&server, DEPOTS).await;
}
