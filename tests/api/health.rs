//! /health

use rimeyard_harness::{TestServer, eventually};
use serde_json::json;
use tokio_postgres::NoTls;

#[tokio::test]
async fn a_server_is_ready_while_its_database_is_as_it_must_be() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    assert_eq!(
        anyone.get("/health/live").await.expect(200).json()["status"],
        "live"
    );
    assert_eq!(
        anyone.get("/health/ready").await.expect(200).json()["status"],
        "ready"
    );
    // No worker runs here: what was written when the house was filled waits.
    let ready = anyone.get("/health/ready").await.expect(200).json();
    assert_eq!((&ready["due"], &ready["parked"]), (&json!(4), &json!(0)));
    assert!(ready["oldest_due_s"].as_f64().is_some_and(|age| age > 0.0));

    let (owner, connection) = tokio_postgres::connect(&server.owner_url, NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    // As if the program were newer than the database.
    owner.execute("delete from __diesel_schema_migrations where version = (select max(version) from __diesel_schema_migrations)", &[]).await.unwrap();
    // What was found is remembered for a second.
    eventually(5.0, "seen", async || {
        anyone.get("/health/ready").await.status != 200
    })
    .await;
    let answer = anyone.get("/health/ready").await;
    answer.problem(503);
    assert!(
        !answer.body.contains("migration"),
        "what is wrong is for the log: {}",
        answer.body
    );
    anyone.get("/health/live").await.expect(200);
}
