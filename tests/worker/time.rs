//! Time passes and nothing is written: what runs out is computed again.

use jiff::{SignedDuration, Timestamp};
use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use rimeyard_worker::drain;
use serde_json::json;

use super::{Moved, drained};

/// Longer than the while by which a depot's midnight may be put off.
const SPREAD: SignedDuration = SignedDuration::from_mins(61);

#[tokio::test]
async fn a_midnight_wakes_each_depot_within_an_hour() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    Machines::make_sound(&administrator, home, 1, 1).await;
    drained(&server).await;
    let shown = async || {
        administrator
            .get(&format!("/v1/readiness/depots/{home}"))
            .await
            .expect(200)
            .json()
    };
    let instant = |value: &serde_json::Value| {
        value
            .as_str()
            .expect("an instant")
            .parse::<Timestamp>()
            .expect("RFC 3339")
    };
    let first = shown().await;
    let runs_out = instant(&first["valid_until"]);
    assert!(
        runs_out.duration_since(Timestamp::now()) < SignedDuration::from_hours(26),
        "the next local midnight"
    );

    let clock = Moved::default();
    clock.to(runs_out - SignedDuration::from_secs(5));
    let early = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(early.recomputed, 0, "it holds until then");
    clock.to(runs_out + SPREAD);
    let late = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(late.recomputed, 4, "every depot of the world");
    let second = shown().await;
    assert!(instant(&second["as_of"]) >= runs_out);
    assert!(instant(&second["valid_until"]) > instant(&second["as_of"]));
    assert_ne!(first["valid_until"], second["valid_until"]);
}

#[tokio::test]
async fn the_start_of_a_storm_wakes_its_depot_to_the_second() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let administrator = server.administrator().await;
    Machines::make_sound(&administrator, home, 1, 1).await;
    // Soon, but after the tests' own time: at most the next midnight is nearer.
    let starts_at =
        Timestamp::from_second((Timestamp::now() + SignedDuration::from_mins(3)).as_second())
            .expect("in range");
    let storm = json!({
        "name": "the first of the winter", "starts_at": starts_at, "ends_at": starts_at + SignedDuration::from_hours(20),
        "depth_mm": 250.0, "reclear_mm": 50.0, "depots": [home],
    });
    administrator.post("/v1/storms", &storm).await.expect(201);
    drained(&server).await;
    let shown = async || {
        administrator
            .get(&format!("/v1/readiness/depots/{home}"))
            .await
            .expect(200)
            .json()
    };
    let before = shown().await;
    assert_eq!(before["storm"]["name"], "the first of the winter");
    let valid_until: Timestamp = before["valid_until"]
        .as_str()
        .expect("an instant")
        .parse()
        .expect("RFC 3339");
    assert!(valid_until <= starts_at);

    let clock = Moved::default();
    clock.to(starts_at);
    let done = drain(&server.database, &clock.settings())
        .await
        .expect("drained");
    assert_eq!(
        done.recomputed, 1,
        "only the depot the storm is for, and not an hour later"
    );
    let as_of: Timestamp = shown().await["as_of"]
        .as_str()
        .expect("an instant")
        .parse()
        .expect("RFC 3339");
    assert!(as_of >= starts_at);
}
