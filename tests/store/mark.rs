//! Marks: a claim is worth what its lease and generation are worth at the moment of publishing.

use std::collections::BTreeMap;
use std::time::Duration;

use jiff::{Timestamp, ToSpan};
use rimeyard_store::feed::{self, kind};
use rimeyard_store::mark::{self, Claim, Failed};
use rimeyard_store::{Error, Tenant};
use serde_json::json;
use uuid::Uuid;

use super::{House, owner};

const MINUTE: Duration = Duration::from_secs(60);

async fn claim(house: &House, limit: i64, quota: i64, lease: Duration) -> Vec<Claim> {
    mark::claim(&house.database, Timestamp::now(), limit, quota, lease)
        .await
        .expect("claimed")
}

/// Publishes a state and finishes the claim, in one transaction.
async fn publish(house: &House, claim: &Claim, valid_until: Timestamp) -> Result<(), Error> {
    let depot = claim.depot_id;
    feed::write(
        &house.database,
        &Tenant::system(claim.org_id),
        &[depot],
        async |tx| {
            tx.publish(depot, kind::DEPOT_STATE, depot, 1, &json!({"score": 80}))?;
            mark::finish(tx, claim, valid_until).await
        },
    )
    .await
}

async fn mark_again(house: &House, depot: Uuid) {
    feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        tx.mark(depot);
        Ok(())
    })
    .await
    .expect("marked");
}

#[tokio::test]
async fn a_finished_depot_is_due_again_when_its_result_runs_out() {
    let house = House::new().await;
    let depot = house.depot().await;
    let claims = claim(&house, 10, 10, MINUTE).await;
    assert_eq!(
        claims
            .iter()
            .map(|claim| claim.depot_id)
            .collect::<Vec<_>>(),
        [depot]
    );
    assert!(
        claim(&house, 10, 10, MINUTE).await.is_empty(),
        "taken is taken"
    );
    publish(&house, &claims[0], Timestamp::now() + 1.hour())
        .await
        .expect("published");
    assert!(
        claim(&house, 10, 10, MINUTE).await.is_empty(),
        "not due for an hour"
    );
    owner(&house.name)
        .await
        .execute("update mark set due_at = now()", &[])
        .await
        .expect("the hour passes");
    assert_eq!(claim(&house, 10, 10, MINUTE).await.len(), 1);
}

#[tokio::test]
async fn marked_again_meanwhile_nothing_is_published_and_it_is_due_at_once() {
    let house = House::new().await;
    let depot = house.depot().await;
    let taken = claim(&house, 1, 1, MINUTE).await.remove(0);
    mark_again(&house, depot).await;
    let head = house.scope(depot).await.0;
    let stale = publish(&house, &taken, Timestamp::now() + 1.hour()).await;
    assert!(matches!(stale, Err(Error::Stale)), "{stale:?}");
    assert_eq!(house.scope(depot).await.0, head, "rolled back");
    let part = feed::write(&house.database, &house.tenant, &[depot], async |tx| {
        mark::check(tx, &taken, MINUTE).await
    })
    .await;
    assert!(matches!(part, Err(Error::Stale)), "{part:?}");
    mark::release(&house.database, &taken)
        .await
        .expect("given back");
    let next = claim(&house, 1, 1, MINUTE).await.remove(0);
    assert!(next.generation > taken.generation);
    publish(&house, &next, Timestamp::now() + 1.hour())
        .await
        .expect("published");
}

#[tokio::test]
async fn a_lost_lease_is_noticed_by_whoever_lost_it() {
    let house = House::new().await;
    let depot = house.depot().await;
    let slow = claim(&house, 1, 1, Duration::ZERO).await.remove(0);
    owner(&house.name)
        .await
        .execute("update mark set retry_at = now()", &[])
        .await
        .expect("the pause passes");
    let quick = claim(&house, 1, 1, MINUTE).await.remove(0);
    assert_eq!(quick.depot_id, depot);
    assert_ne!(quick.lease_token, slow.lease_token);
    assert!(
        !mark::renew(&house.database, &slow, MINUTE)
            .await
            .expect("asked")
    );
    assert!(
        mark::renew(&house.database, &quick, MINUTE)
            .await
            .expect("asked")
    );
    let late = publish(&house, &slow, Timestamp::now() + 1.hour()).await;
    assert!(matches!(late, Err(Error::Stale)), "{late:?}");
    assert_eq!(
        mark::fail(&house.database, &slow, "too slow")
            .await
            .expect("asked"),
        Failed::LeaseLost
    );
    mark::release(&house.database, &slow)
        .await
        .expect("does nothing");
    assert!(
        mark::renew(&house.database, &quick, MINUTE)
            .await
            .expect("asked"),
        "and does not touch the other's"
    );
    publish(&house, &quick, Timestamp::now() + 1.hour())
        .await
        .expect("published");
}

#[tokio::test]
async fn no_organisation_starves_another() {
    let large = House::new().await;
    for _ in 0..12 {
        large.depot().await;
    }
    let small = large.other().await;
    let depot = small.depot().await;
    let count = |claims: &[Claim]| {
        claims.iter().fold(BTreeMap::new(), |mut counts, claim| {
            *counts.entry(claim.org_id).or_insert(0) += 1;
            counts
        })
    };
    // All of the large one's marks are older, and still the small one has its turn among the first two.
    let first = claim(&large, 2, 5, MINUTE).await;
    assert!(
        first.iter().any(|claim| claim.depot_id == depot),
        "{first:?}"
    );
    // Over several claims the large one never holds more than its quota.
    let mut all = first;
    all.extend(claim(&large, 100, 5, MINUTE).await);
    all.extend(claim(&large, 100, 5, MINUTE).await);
    assert_eq!(
        count(&all),
        [(large.org_id(), 5), (small.org_id(), 1)].into()
    );
    for taken in all.iter().filter(|claim| claim.org_id == large.org_id()) {
        publish(&large, taken, Timestamp::now() + 1.hour())
            .await
            .expect("published");
    }
    assert_eq!(
        count(&claim(&large, 100, 5, MINUTE).await),
        [(large.org_id(), 5)].into()
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn workers_that_claim_together_share_and_never_take_twice() {
    let house = House::new().await;
    for _ in 0..30 {
        house.depot().await;
    }
    let worker = async || {
        let mut mine = Vec::new();
        loop {
            let some = claim(&house, 3, 1_000, MINUTE).await;
            // A claim comes back empty also when others hold all candidates just now.
            if some.is_empty() && mark::backlog(&house.database).await.expect("asked").due == 0 {
                return mine;
            }
            for taken in &some {
                publish(&house, taken, Timestamp::now() + 1.hour())
                    .await
                    .expect("published");
            }
            mine.extend(some.into_iter().map(|claim| claim.depot_id));
        }
    };
    let taken = futures::future::join_all((0..4).map(|_| worker()))
        .await
        .concat();
    let distinct: std::collections::BTreeSet<Uuid> = taken.iter().copied().collect();
    assert_eq!((taken.len(), distinct.len()), (30, 30));
}

#[tokio::test]
async fn a_depot_that_keeps_failing_is_parked_and_the_others_go_on() {
    let house = House::new().await;
    let (bad, good) = (house.depot().await, house.depot().await);
    let client = owner(&house.name).await;
    let mut outcomes = Vec::new();
    let mut pauses = Vec::new();
    for _ in 0..mark::ATTEMPTS_MAX {
        let taken = claim(&house, 10, 10, MINUTE).await;
        let failing = taken
            .iter()
            .find(|claim| claim.depot_id == bad)
            .expect("due");
        outcomes.push(
            mark::fail(&house.database, failing, "no sheet\0 for this model")
                .await
                .expect("noted"),
        );
        let row = client
            .query_one("select last_error, extract(epoch from retry_at - now())::float8 from mark where depot_id = $1", &[&bad])
            .await
            .expect("there");
        assert_eq!(row.get::<_, &str>(0), "no sheet for this model");
        pauses.push(row.get::<_, f64>(1));
        for other in taken.iter().filter(|claim| claim.depot_id == good) {
            publish(&house, other, Timestamp::now() + 1.hour())
                .await
                .expect("published");
        }
        mark_again(&house, bad).await;
        let hurried = claim(&house, 10, 10, MINUTE).await;
        assert_eq!(hurried, [], "a write does not cut the pause short");
        client
            .execute(
                "update mark set retry_at = now() where depot_id = $1 and parked_at is null",
                &[&bad],
            )
            .await
            .expect("the pause passes");
    }
    let (last, earlier) = outcomes.split_last().expect("some");
    assert!(
        earlier.iter().all(|outcome| *outcome == Failed::Later),
        "{outcomes:?}"
    );
    assert_eq!(*last, Failed::Parked);
    assert!(
        pauses.windows(2).all(|pair| pair[1] > pair[0]),
        "ever longer pauses: {pauses:?}"
    );

    mark_again(&house, bad).await;
    assert!(
        claim(&house, 10, 10, MINUTE).await.is_empty(),
        "parked stays parked"
    );
    let backlog = mark::backlog(&house.database).await.expect("asked");
    assert_eq!(
        (backlog.due, backlog.parked, backlog.oldest_age_s),
        (0, 1, None)
    );
    assert!(
        mark::unpark(&house.database, house.org_id(), bad)
            .await
            .expect("asked")
    );
    assert!(
        !mark::unpark(&house.database, house.org_id(), bad)
            .await
            .expect("asked"),
        "once"
    );
    let taken = claim(&house, 10, 10, MINUTE).await;
    assert_eq!(taken[0].attempts, 1, "this one");
    publish(&house, &taken[0], Timestamp::now() + 1.hour())
        .await
        .expect("published");
}

#[tokio::test]
async fn the_age_of_the_oldest_due_mark_is_told() {
    let house = House::new().await;
    house.depot().await;
    owner(&house.name)
        .await
        .execute(
            "update mark set due_at = now() - interval '90 seconds'",
            &[],
        )
        .await
        .expect("aged");
    let backlog = mark::backlog(&house.database).await.expect("asked");
    let age_s = backlog.oldest_age_s.expect("due");
    assert!((90.0..150.0).contains(&age_s), "{age_s}");
}

/// Whoever dies with a depot in its hands says nothing; the claim itself counts.
#[tokio::test]
async fn a_depot_that_takes_its_workers_down_is_counted_taken_alone_and_parked() {
    let house = House::new().await;
    let bad = house.depot().await;
    for _ in 0..3 {
        house.depot().await;
    }
    let client = owner(&house.name).await;
    let together = claim(&house, 10, 10, MINUTE).await;
    assert_eq!(together.len(), 4, "taken together the first time");
    let mut deaths = 0;
    loop {
        client
            .execute(
                "update mark set leased_until = now() where lease_token is not null",
                &[],
            )
            .await
            .expect("the leases end");
        // By now every pause is over.
        let taken = mark::claim(
            &house.database,
            Timestamp::now() + 30.minutes(),
            10,
            10,
            MINUTE,
        )
        .await
        .expect("claimed");
        let [one] = &taken[..] else {
            if taken.is_empty() {
                break;
            }
            panic!("a suspect is taken alone, not {taken:?}")
        };
        if one.depot_id == bad {
            deaths += 1;
            let parked = mark::list(&house.database, 1)
                .await
                .expect("listed")
                .remove(0);
            let told = parked.last_error.expect("noted");
            assert!(told.contains("did not live"), "{told}");
            if parked.parked_at.is_some() {
                assert_eq!(
                    (parked.depot_id, parked.attempts),
                    (bad, mark::ATTEMPTS_MAX)
                );
                break;
            }
        } else {
            publish(&house, one, Timestamp::now() + 1.hour())
                .await
                .expect("the others were taken along");
        }
    }
    assert_eq!(
        deaths,
        mark::ATTEMPTS_MAX - 1,
        "and one together with the others"
    );
    let backlog = mark::backlog(&house.database).await.expect("asked");
    assert_eq!((backlog.due, backlog.parked), (0, 1), "the others are done");
}
