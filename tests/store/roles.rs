//! Row-level security, as each of the three roles meets it.

use rimeyard_store::feed;
use uuid::Uuid;

use super::{House, cluster, connect};

/// A connection that has become one of the group roles, as the pools' connections do.
async fn as_role(house: &House, role: &str) -> tokio_postgres::Client {
    let client = connect(&cluster().await.login_url(&house.name)).await;
    client
        .batch_execute(&format!("set role {role}"))
        .await
        .expect("a member");
    client
}

async fn count(client: &tokio_postgres::Client, table: &str) -> i64 {
    client
        .query_one(&format!("select count(*) from {table}"), &[])
        .await
        .expect("counted")
        .get(0)
}

fn code(error: &tokio_postgres::Error) -> &str {
    error.code().map_or("none", |code| code.code())
}

#[tokio::test]
async fn without_an_organisation_nothing_is_seen() {
    let house = House::new().await;
    house.depot().await;
    let app = as_role(&house, "rimeyard_app").await;
    assert_eq!(
        count(&app, "depot").await,
        0,
        "before any transaction the setting is null"
    );
    app.batch_execute(&format!(
        "begin; select set_config('app.org', '{}', true)",
        house.org_id()
    ))
    .await
    .expect("begun");
    assert_eq!(count(&app, "depot").await, 1);
    app.batch_execute("commit").await.expect("ended");
    assert_eq!(count(&app, "depot").await, 0, "after one it is empty");
}

#[tokio::test]
async fn another_organisation_is_neither_read_nor_written() {
    let house = House::new().await;
    let depot = house.depot().await;
    let other = house.other().await;
    let app = as_role(&house, "rimeyard_app").await;
    app.batch_execute(&format!(
        "select set_config('app.org', '{}', false)",
        other.org_id()
    ))
    .await
    .expect("set");
    assert_eq!(count(&app, "depot").await, 0);
    assert_eq!(count(&app, "organisation").await, 1, "its own");
    let updated = app
        .execute("update depot set name = 'taken'", &[])
        .await
        .expect("allowed, but for no row");
    assert_eq!(updated, 0);
    let smuggled = app
        .execute(
            "insert into feed_scope (org_id, scope_id) values ($1, $2)",
            &[&house.org_id(), &Uuid::now_v7()],
        )
        .await
        .expect_err("refused");
    assert_eq!(
        code(&smuggled),
        "42501",
        "insufficient_privilege: the policy's check"
    );
    // A foreign key bypasses row-level security; being composite, it still cannot reach over.
    let reached = app
        .execute(
            "insert into mark (org_id, depot_id) values ($1, $2)",
            &[&other.org_id(), &depot],
        )
        .await
        .expect_err("refused");
    assert_eq!(code(&reached), "23503", "foreign_key_violation");
}

#[tokio::test]
async fn the_login_itself_may_nothing() {
    let house = House::new().await;
    let login = connect(&cluster().await.login_url(&house.name)).await;
    for table in ["depot", "credential", "mark", "signing_key"] {
        let refused = login
            .query(&format!("select * from {table}"), &[])
            .await
            .expect_err("refused");
        assert_eq!(code(&refused), "42501", "{table}");
    }
}

#[tokio::test]
async fn the_crossing_roles_see_their_tables_and_no_others() {
    let house = House::new().await;
    house.depot().await;
    house.other().await.depot().await;
    let clock = as_role(&house, "rimeyard_clock").await;
    assert_eq!(
        count(&clock, "mark").await,
        2,
        "marks of every organisation"
    );
    let door = as_role(&house, "rimeyard_door").await;
    for (client, tables) in [
        (&clock, ["depot", "person", "credential"]),
        (&door, ["depot", "person", "mark"]),
    ] {
        for table in tables {
            let refused = client
                .query(&format!("select * from {table}"), &[])
                .await
                .expect_err("refused");
            assert_eq!(code(&refused), "42501", "{table}");
        }
    }
}

#[tokio::test]
async fn a_pooled_connection_forgets_the_organisation() {
    let house = House::new().await;
    let depot = house.depot().await;
    let other = house.other().await;
    // More transactions than connections, of both organisations in turn: none sees the other's.
    for turn in 0..40 {
        let (tenant, expected) = if turn % 2 == 0 {
            (&house.tenant, 2)
        } else {
            (&other.tenant, 1)
        };
        let heads = house
            .database
            .read(tenant, async |tx| feed::heads(tx).await)
            .await
            .expect("read");
        assert_eq!(heads.len(), expected);
    }
    let foreign = feed::write(&house.database, &other.tenant, &[depot], async |_| Ok(())).await;
    assert!(
        matches!(foreign, Err(rimeyard_store::Error::NotFound { .. })),
        "{foreign:?}"
    );
}
