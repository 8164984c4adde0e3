//! What has served its time goes, and nothing else.

use rimeyard_store::door;
use rimeyard_store::feed::kind;
use rimeyard_store::sweep::sweep;
use serde_json::json;
use uuid::Uuid;

use super::person::create;
use super::{House, connect, owner};

#[tokio::test]
async fn what_is_past_its_time_goes_in_bounded_batches() {
    let house = House::new().await;
    let owner = owner(&house.name).await;
    let person = create(
        &house,
        json!({"name": "Ada Frost", "role": "technician", "email": "ada@example.org", "password": "shovel the ramp"}),
    )
    .await
    .expect("created");
    let known = door::sign_in(&house.database, "ada@example.org", "shovel the ramp")
        .await
        .expect("asked")
        .expect("known")
        .known;
    let mut session = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    for _ in 0..5 {
        session = door::refresh(&house.database, &session.refresh_token, None)
            .await
            .expect("asked")
            .expect("good");
    }
    let count = async |table: &str| -> i64 {
        let count = format!("select count(*) from {table}");
        owner.query_one(&count, &[]).await.expect("counted").get(0)
    };
    assert_eq!(count("refresh_token").await, 6);
    // A token whose successor was used is known for a fortnight: then its coming again is no alarm any more.
    let short = "select count(*) from refresh_token where expires_at < now() + interval '15 days'";
    let short: i64 = owner.query_one(short, &[]).await.expect("counted").get(0);
    assert_eq!(short, 4);
    owner
        .execute("update refresh_token set expires_at = now() - interval '1 s' where expires_at < now() + interval '15 days'", &[])
        .await
        .expect("aged");
    for (key, days) in [("old", 31), ("older", 400), ("young", 29)] {
        owner
            .execute(
                "insert into idempotency (org_id, person_id, key, request_digest, status, headers, body, created_at)
                 values ($1, $2, $3, '\\x00'::bytea, 201, '{}', '{}', now() - make_interval(days => $4))",
                &[&house.org_id(), &person.id, &key, &days],
            )
            .await
            .expect("kept");
    }

    let once = sweep(&house.database, 3).await.expect("swept");
    assert_eq!((once.tokens, once.answers, once.tombstones), (3, 2, 0));
    let twice = sweep(&house.database, 3).await.expect("swept");
    assert_eq!((twice.tokens, twice.answers), (1, 0));
    assert_eq!(sweep(&house.database, 3).await.expect("swept").most(), 0);
    assert_eq!(
        (count("refresh_token").await, count("idempotency").await),
        (2, 1)
    );
    // The session goes on.
    let next = door::refresh(&house.database, &session.refresh_token, None).await;
    assert!(next.expect("asked").is_some());
}

#[tokio::test]
async fn a_session_ends_after_a_year_however_much_it_is_used() {
    let house = House::new().await;
    let made = create(
        &house,
        json!({"name": "Ada Frost", "role": "technician", "email": "ada@example.org", "password": "shovel the ramp"}),
    );
    made.await.expect("created");
    let known = door::sign_in(&house.database, "ada@example.org", "shovel the ramp")
        .await
        .expect("asked")
        .expect("known")
        .known;
    let session = door::begin_session(&house.database, known)
        .await
        .expect("begun");
    // As if it had begun 366 days ago: a family's id says when.
    let began = jiff::Timestamp::now() - jiff::SignedDuration::from_hours(24 * 366);
    let context = uuid::Timestamp::from_unix(uuid::NoContext, began.as_second() as u64, 0);
    let long_ago = Uuid::new_v7(context);
    owner(&house.name)
        .await
        .execute("update refresh_token set family = $1", &[&long_ago])
        .await
        .expect("moved");
    let next = door::refresh(&house.database, &session.refresh_token, None).await;
    assert!(next.expect("asked").is_none());
}

/// The policies and not the statements are what keeps the young.
#[tokio::test]
async fn the_sweep_cannot_reach_what_is_young() {
    let house = House::new().await;
    let depot = house.depot().await;
    house
        .publish(depot, kind::UNIT, Uuid::now_v7(), 1, &json!({}))
        .await;
    let client = connect(&super::cluster().await.login_url(&house.name)).await;
    client
        .batch_execute("set role rimeyard_sweep")
        .await
        .expect("a member");
    for table in ["feed_entry", "idempotency", "refresh_token"] {
        let gone = client
            .execute(&format!("delete from {table}"), &[])
            .await
            .expect("allowed, but for no row");
        assert_eq!(gone, 0, "{table}");
    }
    assert!(
        client
            .query("select doc from feed_entry", &[])
            .await
            .is_err(),
        "nor read what was said"
    );
}
