//! A depot that cannot be computed is noted, tried again, parked, and stops nobody else.

use jiff::SignedDuration;
use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use rimeyard_store::mark;
use rimeyard_worker::check::{Comparison, check};
use rimeyard_worker::{Pass, drain};
use serde_json::{Value, json};

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
    let within_the_hour = drain(&server.database, &settings()).await.expect("drained");
    assert_eq!(within_the_hour, Pass::default(), "parked");
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

    let parked = async || {
        let path = format!(
            "/v1/alerts?depot_id={}&kind=recomputation%20parked",
            ours.far.id
        );
        administrator.get(&path).await.expect(200).json()["items"][0].clone()
    };
    let told = parked().await;
    assert_eq!(
        (&told["severity"], &told["cleared_at"]),
        (&json!("urgent"), &Value::Null),
        "{told}"
    );

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
    assert!(parked().await["cleared_at"].is_string());
    assert_stored_is_recomputed(&server, 4).await;
    let marks = mark::list(&server.database, 100).await.expect("listed");
    assert!(
        marks
            .iter()
            .all(|mark| mark.attempts == 0 && mark.last_error.is_none()),
        "{marks:?}"
    );
    assert!(
        !mark::unpark(&server.database, ours.org_id, ours.far.id)
            .await
            .expect("asked"),
        "it is parked no more"
    );
}

#[tokio::test]
async fn a_parked_depot_that_is_mended_is_found_again_within_the_hour_by_nobody_s_hand() {
    let server = TestServer::start().await;
    let far = server.world.ours.far.id;
    drained(&server).await;
    let owner = owner(&server).await;
    let park = "update mark set attempts = 8, parked_at = now(), retry_at = now() + interval '1 hour', last_error = 'a fault'
                where depot_id = $1";
    owner.execute(park, &[&far]).await.expect("parked");
    mark_depot(&server, far).await;
    let clock = Moved::default();
    clock.ahead(SignedDuration::from_mins(59));
    let early = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(early, Pass::default(), "a write does not hurry it");
    clock.ahead(SignedDuration::from_mins(2));
    let late = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!((late.recomputed, late.failures), (1, Vec::new()));
    assert_eq!(
        mark::backlog(&server.database).await.expect("asked").parked,
        0
    );
}

/// The words and codes are Postgres' own: 53100 of a full disk, 57014 of a statement that took too long.
const RAISE: &str = "
    create function fail() returns trigger language plpgsql as $$ begin raise exception using errcode = tg_argv[0], message = tg_argv[1]; end $$;";

#[tokio::test]
async fn a_disk_that_is_full_is_held_against_no_depot() {
    let server = TestServer::start().await;
    let ours = server.world.ours;
    drained(&server).await;
    let owner = owner(&server).await;
    owner
        .batch_execute(&format!(
            "{RAISE} create trigger full_disk before insert or update on depot_state for each row
             execute function fail('53100', 'could not extend file \"base/5/16384\": No space left on device')"
        ))
        .await
        .expect("full");
    mark_depot(&server, ours.home.id).await;
    mark_depot(&server, ours.far.id).await;
    let clock = Moved::default();
    for _ in 0..2 * mark::ATTEMPTS_MAX {
        let refused = rimeyard_worker::pass(&server.database, &clock.settings()).await;
        assert!(
            matches!(&refused, Err(rimeyard_store::Error::Refused(text)) if text.contains("No space left")),
            "{refused:?}"
        );
        clock.ahead(SignedDuration::from_secs(5));
    }
    let marks = mark::list(&server.database, 100).await.expect("listed");
    for mark in marks
        .iter()
        .filter(|mark| [ours.home.id, ours.far.id].contains(&mark.depot_id))
    {
        assert_eq!((mark.attempts, mark.parked_at), (0, None), "{mark:?}");
        assert!(
            mark.last_error
                .as_deref()
                .is_some_and(|error| error.contains("No space left"))
        );
    }
    owner
        .batch_execute("drop trigger full_disk on depot_state")
        .await
        .expect("room");
    let done = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!((done.recomputed, done.failures), (2, Vec::new()));
}

#[tokio::test]
async fn a_depot_that_takes_too_long_is_counted_and_does_not_keep_the_others() {
    let server = TestServer::start().await;
    let ours = server.world.ours;
    drained(&server).await;
    let owner = owner(&server).await;
    // Whoever looks at Far's row runs out of time.
    owner
        .batch_execute(&format!(
            "create function slow() returns boolean language plpgsql as $$ begin
                 raise exception using errcode = '57014', message = 'canceling statement due to statement timeout'; end $$;
             create policy slow on depot as restrictive to rimeyard_app using (case when id = '{}' then slow() else true end)",
            ours.far.id
        ))
        .await
        .expect("slow");
    let due = "update mark set due_at = now() where depot_id in ($1, $2)";
    owner
        .execute(due, &[&ours.home.id, &ours.far.id])
        .await
        .expect("due");
    let done = drain(&server.database, &settings()).await.expect("drained");
    assert_eq!(
        done.recomputed, 1,
        "Home, although it was loaded together with Far"
    );
    let [failure] = &done.failures[..] else {
        panic!("one failure, not {done:?}")
    };
    assert_eq!(failure.depot_id, ours.far.id);
    assert!(failure.error.contains("statement timeout"), "{failure:?}");
    owner
        .batch_execute("drop policy slow on depot")
        .await
        .expect("quick again");
    let clock = Moved::default();
    clock.ahead(SignedDuration::from_secs(5));
    let done = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!((done.recomputed, done.failures), (1, Vec::new()));
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
