//! A depot that cannot be computed is noted, tried again, parked, and stops nobody else.

use jiff::SignedDuration;
use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use rimeyard_store::mark;
use rimeyard_worker::check::{Comparison, check};
use rimeyard_worker::{Pass, drain};

use super::{Moved, assert_stored_is_recomputed, drained, mark as mark_depot, owner, settings};

#[tokio::test]
async fn a_depot_that_keeps_failing_is_parked_with_its_error_and_the_others_go_on() {
    let server = TestServer::start().await;
    let ours = server.world.ours;
    let administrator = server.administrator().await;
    Machines::make_sound(&administrator, ours.home.id, 1, 1).await;
    drained(&server).await;

    // What no write could have stored.
    let owner = owner(&server).await;
    let spoil =
        "update depot set duties = '[{\"name\": \"a duty without an area\"}]' where id = $1";
    owner.execute(spoil, &[&ours.far.id]).await.expect("spoilt");
    mark_depot(&server, ours.far.id).await;
    mark_depot(&server, ours.home.id).await;
    let done = drain(&server.database, &settings()).await.expect("drained");
    assert_eq!(
        done.recomputed, 1,
        "Home is computed although it was loaded together with Far"
    );
    let [failure] = &done.failures[..] else {
        panic!("one failure, not {done:?}")
    };
    assert_eq!((failure.depot_id, failure.parked), (ours.far.id, false));
    assert!(
        failure.error.contains("duties of depot"),
        "{}",
        failure.error
    );

    // The pauses pass; it is tried again and again, and then no more.
    let clock = Moved::default();
    let mut failures = done.failures.len();
    for _ in 0..20 {
        clock.ahead(SignedDuration::from_mins(11));
        let done = drain(&server.database, &clock.settings())
            .await
            .expect("drained");
        failures += done.failures.len();
        if done.failures.iter().any(|failure| failure.parked) {
            break;
        }
    }
    assert_eq!(failures, mark::ATTEMPTS_MAX as usize);
    clock.ahead(SignedDuration::from_hours(1));
    assert_eq!(
        drain(&server.database, &clock.settings())
            .await
            .expect("drained"),
        Pass::default(),
        "parked"
    );
    let marks = mark::list(&server.database, 100).await.expect("listed");
    assert_eq!(
        (marks[0].depot_id, marks[0].attempts),
        (ours.far.id, mark::ATTEMPTS_MAX),
        "the parked come first"
    );
    assert!(marks[0].parked_at.is_some());
    assert!(
        marks[0]
            .last_error
            .as_deref()
            .is_some_and(|error| error.contains("duties of depot"))
    );
    let checked = check(&server.database).await.expect("checked");
    let of_far = checked
        .iter()
        .find(|depot| depot.depot_id == ours.far.id)
        .expect("there");
    assert_eq!(of_far.comparison, Comparison::Parked);
    // What readers have of it stays: the last that was computed.
    let shown = administrator
        .get(&format!("/v1/readiness/depots/{}", ours.far.id))
        .await
        .expect(200)
        .json();
    assert!(shown["as_of"].is_string());

    owner
        .execute(
            "update depot set duties = '[]' where id = $1",
            &[&ours.far.id],
        )
        .await
        .expect("mended");
    assert!(
        mark::unpark(&server.database, ours.org_id, ours.far.id)
            .await
            .expect("unparked")
    );
    let done = drained(&server).await;
    assert_eq!(done.recomputed, 1);
    assert_stored_is_recomputed(&server, 4).await;
    assert!(
        !mark::unpark(&server.database, ours.org_id, ours.far.id)
            .await
            .expect("asked"),
        "it is parked no more"
    );
}

#[tokio::test]
async fn check_finds_what_is_not_what_the_facts_say() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    Machines::make_sound(&server.administrator().await, home, 2, 1).await;
    drained(&server).await;
    assert_stored_is_recomputed(&server, 4).await;

    // Past the feed, as no program of ours does: a fact that nobody was told of.
    let owner = owner(&server).await;
    owner
        .execute(
            "update depot set name = 'Renamed in the dark' where id = $1",
            &[&home],
        )
        .await
        .expect("renamed");
    let comparison = async || {
        let checked = check(&server.database).await.expect("checked");
        checked
            .into_iter()
            .find(|depot| depot.depot_id == home)
            .expect("there")
            .comparison
    };
    let Comparison::Wrong(differences) = comparison().await else {
        panic!("it differs")
    };
    assert!(
        differences[0].starts_with("document of the depot"),
        "{differences:?}"
    );
    assert!(
        differences[0].contains("Renamed in the dark"),
        "{differences:?}"
    );
    mark_depot(&server, home).await;
    assert_eq!(
        comparison().await,
        Comparison::Pending,
        "due: nothing to compare yet"
    );
    drained(&server).await;
    assert_eq!(comparison().await, Comparison::Equal);
}
