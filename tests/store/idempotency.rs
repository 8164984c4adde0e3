//! A write that carries an Idempotency-Key happens once, however often and wherever it is repeated.

use std::sync::atomic::{AtomicU32, Ordering};

use rimeyard_store::feed::{self, kind};
use rimeyard_store::{Error, Kept, Once, Tenant, idempotency};
use serde_json::json;
use uuid::Uuid;

use super::person::create;
use super::{House, owner};

/// The body of the answer: the id that the first time made.
async fn post(
    house: &House,
    tenant: &Tenant,
    scope: Uuid,
    once: &Once,
    runs: &AtomicU32,
) -> Result<String, Error> {
    feed::write(&house.database, tenant, &[scope], async |tx| {
        if let Some(kept) = idempotency::find(tx, once).await? {
            return Ok(kept.body);
        }
        runs.fetch_add(1, Ordering::SeqCst);
        let id = Uuid::now_v7();
        tx.publish(scope, kind::UNIT, id, 1, &json!({"id": id}))?;
        let answer = Kept {
            status: 201,
            headers: json!({}),
            body: id.to_string(),
        };
        idempotency::keep(tx, once, &answer).await?;
        Ok(answer.body)
    })
    .await
}

async fn as_person(house: &House, name: &str) -> Tenant {
    let person = create(house, json!({"name": name, "role": "technician"}))
        .await
        .expect("created");
    Tenant {
        person_id: Some(person.id),
        ..house.tenant.clone()
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn repeats_have_one_effect_and_one_answer_even_at_once_and_elsewhere() {
    let house = House::new().await;
    let scopes = [house.depot().await, house.depot().await];
    let tenant = as_person(&house, "Ada").await;
    let once = Once::new("key".to_owned(), "POST", "/v1/units", b"{}");
    let runs = AtomicU32::new(0);
    // In two scopes, whose locks do not hold each other up.
    let answers = futures::future::join_all(
        (0..8).map(|number| post(&house, &tenant, scopes[number % 2], &once, &runs)),
    )
    .await;
    let answers: Vec<String> = answers
        .into_iter()
        .map(|answer| answer.expect("answered"))
        .collect();
    assert!(
        answers.iter().all(|answer| *answer == answers[0]),
        "{answers:?}"
    );
    assert!(runs.load(Ordering::SeqCst) >= 1);
    let units: i64 = owner(&house.name)
        .await
        .query_one("select count(*) from feed_entry where kind = 'unit'", &[])
        .await
        .expect("counted")
        .get(0);
    assert_eq!(units, 1);
}

#[tokio::test]
async fn a_key_belongs_to_a_person_and_to_a_request() {
    let house = House::new().await;
    let depot = house.depot().await;
    let (ada, bo) = (
        as_person(&house, "Ada").await,
        as_person(&house, "Bo").await,
    );
    let runs = AtomicU32::new(0);
    let once = Once::new("key".to_owned(), "POST", "/v1/units", b"{}");
    let first = post(&house, &ada, depot, &once, &runs)
        .await
        .expect("answered");
    assert_ne!(
        post(&house, &bo, depot, &once, &runs)
            .await
            .expect("answered"),
        first,
        "another person's key"
    );
    for (method, path, body) in [
        ("PATCH", "/v1/units", &b"{}"[..]),
        ("POST", "/v1/storms", b"{}"),
        ("POST", "/v1/units", b"{} "),
    ] {
        let other = Once::new("key".to_owned(), method, path, body);
        match post(&house, &ada, depot, &other, &runs).await {
            Err(Error::Invalid { field, .. }) => assert_eq!(field, "Idempotency-Key"),
            outcome => panic!("{method} {path}: {outcome:?}"),
        }
    }
    assert_eq!(runs.load(Ordering::SeqCst), 2);
}

#[tokio::test]
async fn what_failed_is_not_kept() {
    let house = House::new().await;
    let depot = house.depot().await;
    let tenant = as_person(&house, "Ada").await;
    let once = Once::new("key".to_owned(), "POST", "/v1/units", b"{}");
    let failed: Result<(), Error> = feed::write(&house.database, &tenant, &[depot], async |tx| {
        idempotency::keep(
            tx,
            &once,
            &Kept {
                status: 201,
                headers: json!({}),
                body: String::new(),
            },
        )
        .await?;
        Err(Error::invalid("tag", "is wrong"))
    })
    .await;
    assert!(failed.is_err());
    let runs = AtomicU32::new(0);
    post(&house, &tenant, depot, &once, &runs)
        .await
        .expect("answered");
    assert_eq!(
        runs.load(Ordering::SeqCst),
        1,
        "it may be tried again with the same key"
    );
}
