//! Readiness means it: gone with the database or with a schema that is behind, and back with them.

use rimeyard_harness::{TestServer, eventually};

use super::backup::owner;

#[tokio::test]
async fn readiness_goes_and_comes_with_the_database_and_its_schema() {
    let server = TestServer::start().await;
    let anyone = server.anonymous();
    let turns = async |status: u16, what: &str| {
        eventually(20.0, what, async || {
            anyone.get("/health/ready").await.status == status
        })
        .await;
    };
    turns(200, "ready at first").await;

    let (address, database) = server.owner_url.rsplit_once('/').expect("a name");
    let operator = owner(&format!("{address}/postgres")).await;
    let gone = format!(
        "alter database \"{database}\" allow_connections false;
         select pg_terminate_backend(pid) from pg_stat_activity where datname = '{database}'"
    );
    operator.batch_execute(&gone).await.expect("gone");
    turns(503, "the database is gone").await;
    anyone.get("/health/ready").await.problem(503);
    anyone.get("/health/live").await.expect(200);
    let back = format!("alter database \"{database}\" allow_connections true");
    operator.batch_execute(&back).await.expect("back");
    turns(200, "the database is back").await;

    let schema = owner(&server.owner_url).await;
    let newest = "version = (select max(version) from __diesel_schema_migrations)";
    let taken = schema
        .query_one(
            &format!(
                "delete from __diesel_schema_migrations where {newest} returning version, run_on"
            ),
            &[],
        )
        .await
        .expect("taken away");
    turns(503, "the schema is behind").await;
    let version: String = taken.get(0);
    schema
        .execute(
            "insert into __diesel_schema_migrations (version) values ($1)",
            &[&version],
        )
        .await
        .expect("put back");
    turns(200, "the schema is whole").await;
}
