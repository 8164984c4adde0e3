//! Publishing a result: whole however large, in commits that each re-check the claim.

use std::time::Duration;

use jiff::{SignedDuration, Timestamp};
use rimeyard_harness::TestServer;
use rimeyard_harness::machines::Machines;
use rimeyard_rules::alerts::Next;
use rimeyard_store::feed::{self, DOCUMENTS_MAX, Pull};
use rimeyard_store::mark::{self, Claim};
use rimeyard_store::state::{self, Computed, DepotResult, Published};
use rimeyard_store::{Error, Tenant};
use serde_json::json;
use uuid::Uuid;

const MINUTE: Duration = Duration::from_secs(60);

async fn claim(server: &TestServer, depot: Uuid) -> Claim {
    let claims = mark::claim(&server.database, Timestamp::now(), 10, 10, MINUTE)
        .await
        .expect("claimed");
    claims
        .into_iter()
        .find(|claim| claim.depot_id == depot)
        .expect("it was due")
}

async fn mark_again(server: &TestServer, depot: Uuid) {
    let house = Tenant::system(server.world.ours.org_id);
    feed::write(&server.database, &house, &[depot], async |tx| {
        tx.mark(depot);
        Ok(())
    })
    .await
    .expect("marked");
}

/// A result for these units, each with a document of about so many bytes.
fn result(depot_id: Uuid, units: &[Uuid], word: &str, bytes: usize) -> DepotResult {
    let computed = |id: Uuid| Computed {
        document: json!({"id": id, "word": word, "text": "x".repeat(bytes)}).to_string(),
        status: "ready".to_owned(),
        inputs: "{}".to_owned(),
        tasks: "[]".to_owned(),
        owed: 0,
    };
    DepotResult {
        depot_id,
        as_of: Timestamp::now(),
        valid_until: Timestamp::now() + SignedDuration::from_hours(1),
        depot: computed(depot_id),
        alerts: Next::default(),
        units: units.iter().map(|id| (*id, computed(*id))).collect(),
    }
}

/// Machines straight into their table: what is published of them is under test, not they.
async fn units(server: &TestServer, count: i32) -> Vec<Uuid> {
    let home = server.world.ours.home.id;
    Machines::make(&server.administrator().await, home, 1).await;
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, tokio_postgres::NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    let many = "insert into unit (org_id, id, depot_id, model_id, tag, rigging)
         select org_id, gen_random_uuid(), depot_id, model_id, 'copy ' || n, rigging from unit, generate_series(1, $1) as n
         where depot_id = $2
         returning id";
    let rows = owner.query(many, &[&count, &home]).await.expect("copied");
    rows.iter().map(|row| row.get(0)).collect()
}

async fn publish(
    server: &TestServer,
    claim: &Claim,
    result: &DepotResult,
) -> Result<Published, Error> {
    state::publish(&server.database, claim, result, result.valid_until, MINUTE).await
}

#[tokio::test]
async fn a_large_depot_goes_out_in_several_commits_and_only_once() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let units = units(&server, 620).await;
    let first = result(home, &units, "first", 100);
    let published = publish(&server, &claim(&server, home).await, &first)
        .await
        .expect("published");
    assert_eq!(
        published,
        Published {
            documents: 621,
            alerts: 0,
            commits: 2
        },
        "{DOCUMENTS_MAX} documents go into one commit"
    );

    mark_again(&server, home).await;
    let published = publish(&server, &claim(&server, home).await, &first)
        .await
        .expect("published");
    assert_eq!(
        published,
        Published {
            documents: 0,
            alerts: 0,
            commits: 1
        }
    );

    // By bytes, too: one commit holds 1 MiB.
    mark_again(&server, home).await;
    let heavy = result(home, &units[..300], "heavy", 6_000);
    let published = publish(&server, &claim(&server, home).await, &heavy)
        .await
        .expect("published");
    assert_eq!(
        published.documents,
        301 + 320,
        "changed ones, and those that are gone"
    );
    assert_eq!(
        published.commits, 2,
        "1.8 MiB, and 451 of them in the second"
    );

    let house = Tenant::system(server.world.ours.org_id);
    let stored = server
        .database
        .read(&house, async |tx| state::stored(tx, &[home]).await)
        .await
        .expect("read");
    let mut stored = stored
        .into_iter()
        .next()
        .and_then(|stored| stored.result)
        .expect("computed");
    stored
        .units
        .sort_by_key(|(id, _)| units.iter().position(|unit| unit == id));
    assert_eq!(
        (stored.units, stored.depot.document),
        (heavy.units, heavy.depot.document)
    );
    let pull = Pull {
        epoch: None,
        scopes: Vec::new(),
        limit: Some(2_000),
    };
    let page = server
        .database
        .read(&house, async |tx| feed::pull(tx, &pull).await)
        .await
        .expect("pulled");
    assert!(
        page.scopes
            .iter()
            .any(|scope| scope.scope_id == home && scope.head >= 6)
    );
}

#[tokio::test]
async fn nothing_of_a_stale_claim_is_stored() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let units = units(&server, 3).await;
    let stale = claim(&server, home).await;
    mark_again(&server, home).await;
    let refused = publish(&server, &stale, &result(home, &units, "stale", 10)).await;
    assert!(matches!(refused, Err(Error::Stale)), "{refused:?}");
    let house = Tenant::system(server.world.ours.org_id);
    let stored = async || {
        let stored = server
            .database
            .read(&house, async |tx| state::stored(tx, &[home]).await)
            .await;
        stored.expect("read").remove(0)
    };
    assert_eq!(stored().await.result, None);
    assert!(stored().await.due);

    mark::release(&server.database, &stale)
        .await
        .expect("released");
    let fresh = claim(&server, home).await;
    publish(&server, &fresh, &result(home, &units, "fresh", 10))
        .await
        .expect("published");
    assert!(!stored().await.due);
    let again = publish(&server, &fresh, &result(home, &units, "twice", 10)).await;
    assert!(
        matches!(again, Err(Error::Stale)),
        "a claim ends once: {again:?}"
    );
}
