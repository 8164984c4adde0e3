//! People: what is stored of them, and what they may do at once afterwards.

use std::collections::BTreeSet;

use rimeyard_store::feed;
use rimeyard_store::person::{self, NewPerson, Person, PersonChange};
use rimeyard_store::{Depots, Error, Role, door, organisation, password};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{House, owner};

pub(super) async fn create(house: &House, new: Value) -> Result<Person, Error> {
    let new: NewPerson = serde_json::from_value(new).expect("a new person");
    let hashed = match &new.password {
        Some(password) => Some(password::hash(password.as_str()).await?),
        None => None,
    };
    feed::write(
        &house.database,
        &house.tenant,
        &[house.org_id()],
        async |tx| person::create(tx, &new, hashed.as_ref()).await,
    )
    .await
}

async fn update(house: &House, id: Uuid, rev: i64, change: Value) -> Result<Person, Error> {
    let change: PersonChange = serde_json::from_value(change).expect("a change");
    let hashed = match &change.password {
        Some(password) => Some(password::hash(password.as_str()).await?),
        None => None,
    };
    feed::write(
        &house.database,
        &house.tenant,
        &[house.org_id()],
        async |tx| person::update(tx, id, rev, &change, hashed.as_ref()).await,
    )
    .await
}

async fn standing(house: &House, person: Uuid, session: Uuid) -> Option<(Role, Depots)> {
    person::standing(&house.database, house.org_id(), person, session)
        .await
        .expect("asked")
}

fn field(outcome: Result<Person, Error>) -> String {
    match outcome {
        Err(Error::Invalid { field, .. } | Error::Conflict { field, .. }) => field,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn a_person_is_read_back_as_created_and_changed() {
    let house = House::new().await;
    let (one, two) = (house.depot().await, house.depot().await);
    let made = create(&house, json!({"name": "Ada Frost", "role": "depot lead", "depots": [one], "email": " Ada@Example.org ", "password": "shovel the ramp"})).await.expect("created");
    assert_eq!(made.email.as_deref(), Some("ada@example.org"));
    let read = async || {
        house
            .database
            .read(&house.tenant, async |tx| person::find(tx, made.id).await)
            .await
            .expect("found")
    };
    assert_eq!(read().await, made);
    let changed = update(
        &house,
        made.id,
        1,
        json!({"name": "Ada Rime", "depots": [two], "role": "technician"}),
    )
    .await
    .expect("changed");
    assert_eq!(
        (changed.rev, changed.role, changed.depots.clone()),
        (2, Role::Technician, BTreeSet::from([two]))
    );
    assert_eq!(read().await, changed);
    assert!(matches!(
        update(&house, made.id, 1, json!({"name": "late"})).await,
        Err(Error::Stale)
    ));
    let all = house
        .database
        .read(&house.tenant, async |tx| {
            person::list(tx, None, None, 100).await
        })
        .await
        .expect("listed");
    assert_eq!(all, std::slice::from_ref(&changed));
    let by_email = house
        .database
        .read(&house.tenant, async |tx| {
            person::list(tx, Some("ADA@example.org"), None, 100).await
        })
        .await;
    assert_eq!(by_email.expect("listed"), [changed]);
    let other = house.other().await;
    let hidden = house
        .database
        .read(&other.tenant, async |tx| person::find(tx, made.id).await)
        .await;
    assert!(matches!(hidden, Err(Error::NotFound { .. })));
}

#[tokio::test]
async fn the_feed_and_the_audit_hold_no_address_and_no_password() {
    let house = House::new().await;
    let made = create(&house, json!({"name": "Ada Frost", "role": "technician", "email": "ada@example.org", "password": "shovel the ramp"})).await.expect("created");
    update(
        &house,
        made.id,
        1,
        json!({"password": "shovel the other ramp"}),
    )
    .await
    .expect("changed");
    let client = owner(&house.name).await;
    let doc: String = client
        .query_one(
            "select doc from feed_entry where object_id = $1",
            &[&made.id],
        )
        .await
        .expect("published")
        .get(0);
    assert_eq!(
        serde_json::from_str::<Value>(&doc).expect("json"),
        json!({"id": made.id, "name": "Ada Frost", "role": "technician", "active": true, "rev": 2})
    );
    let rows = client
        .query(
            "select detail::text from audit where object_id = $1 order by id",
            &[&made.id],
        )
        .await
        .expect("audited");
    let details: Vec<String> = rows.iter().map(|row| row.get(0)).collect();
    assert!(
        details
            .iter()
            .all(|detail| !detail.contains("shovel") && !detail.contains("argon2")),
        "{details:?}"
    );
    assert!(
        details[1].contains(r#""password": "changed""#),
        "{details:?}"
    );
}

#[tokio::test]
async fn what_is_wrong_is_named() {
    let house = House::new().await;
    let depot = house.depot().await;
    let foreign = house.other().await.depot().await;
    create(&house, json!({"name": "Ada", "role": "technician", "email": "ada@example.org", "password": "shovel the ramp"})).await.expect("created");
    for (new, expected) in [
        (json!({"name": "", "role": "technician"}), "name"),
        (json!({"name": "a\0b", "role": "technician"}), "name"),
        (
            json!({"name": "Bo", "role": "technician", "id": "00000000-0000-4000-8000-000000000000"}),
            "id",
        ),
        (
            json!({"name": "Bo", "role": "technician", "email": "bo"}),
            "email",
        ),
        (
            json!({"name": "Bo", "role": "technician", "email": "bo@example.org"}),
            "password",
        ),
        (
            json!({"name": "Bo", "role": "technician", "password": "shovel the ramp"}),
            "email",
        ),
        (
            json!({"name": "Bo", "role": "technician", "email": "bo@example.org", "password": "short"}),
            "password",
        ),
        (
            json!({"name": "Bo", "role": "technician", "email": "ADA@example.org", "password": "shovel the ramp"}),
            "email",
        ),
        (
            json!({"name": "Bo", "role": "technician", "depots": [depot, foreign]}),
            if depot < foreign {
                "depots[1]"
            } else {
                "depots[0]"
            },
        ),
    ] {
        let told = field(create(&house, new.clone()).await);
        assert_eq!(told, expected, "{new}");
    }
    let people = house
        .database
        .read(&house.tenant, async |tx| {
            person::list(tx, None, None, 100).await
        })
        .await
        .expect("listed");
    assert_eq!(people.len(), 1, "nothing of it is stored");
}

#[tokio::test]
async fn somebody_is_left_to_administer() {
    let house = House::new().await;
    let one = create(&house, json!({"name": "One", "role": "administrator"}))
        .await
        .expect("created");
    assert_eq!(
        field(update(&house, one.id, 1, json!({"role": "technician"})).await),
        "role"
    );
    assert_eq!(
        field(update(&house, one.id, 1, json!({"active": false})).await),
        "active"
    );
    let two = create(&house, json!({"name": "Two", "role": "administrator"}))
        .await
        .expect("created");
    assert_eq!(
        field(update(&house, one.id, 1, json!({"active": false})).await),
        "active",
        "who cannot sign in lets nobody in"
    );
    let signs_in = json!({"email": "two@example.org", "password": "shovel the ramp"});
    update(&house, two.id, 1, signs_in).await.expect("changed");
    update(&house, one.id, 1, json!({"active": false}))
        .await
        .expect("another is there");
}

#[tokio::test]
async fn a_standing_follows_grants_activity_and_the_session() {
    let house = House::new().await;
    let depot = house.depot().await;
    let made = create(&house, json!({"name": "Ada", "role": "depot lead", "depots": [depot], "email": "ada@example.org", "password": "shovel the ramp"})).await.expect("created");
    let known = door::sign_in(&house.database, "ada@example.org", "shovel the ramp")
        .await
        .expect("asked")
        .expect("let in")
        .known;
    let session = door::begin_session(&house.database, known)
        .await
        .expect("begun")
        .id;
    assert_eq!(
        standing(&house, made.id, session).await,
        Some((Role::DepotLead, Depots::Some([depot].into())))
    );
    assert_eq!(
        standing(&house, made.id, Uuid::now_v7()).await,
        None,
        "no such session"
    );
    let changed = update(
        &house,
        made.id,
        1,
        json!({"all_depots": true, "role": "district manager"}),
    )
    .await
    .expect("changed");
    assert_eq!(
        standing(&house, made.id, session).await,
        Some((Role::DistrictManager, Depots::All))
    );
    let changed = update(&house, made.id, changed.rev, json!({"active": false}))
        .await
        .expect("changed");
    assert_eq!(standing(&house, made.id, session).await, None);
    let changed = update(&house, made.id, changed.rev, json!({"active": true}))
        .await
        .expect("changed");
    assert_eq!(
        standing(&house, made.id, session).await,
        None,
        "a session ended stays so"
    );
    let session = door::begin_session(&house.database, known)
        .await
        .expect("begun")
        .id;
    assert!(standing(&house, made.id, session).await.is_some());
    update(
        &house,
        made.id,
        changed.rev,
        json!({"password": "shovel the other ramp"}),
    )
    .await
    .expect("changed");
    assert_eq!(
        standing(&house, made.id, session).await,
        None,
        "a new password ends all sessions"
    );
    let signs_in = async |email: &str, password: &str| {
        let signed_in = door::sign_in(&house.database, email, password).await;
        signed_in.expect("asked").map(|signed_in| signed_in.known)
    };
    assert_eq!(signs_in("ada@example.org", "shovel the ramp").await, None);
    assert_eq!(
        signs_in("ADA@example.org ", "shovel the other ramp").await,
        Some(known)
    );
}

#[tokio::test]
async fn an_organisation_comes_with_its_first_person_or_not_at_all() {
    let house = House::new().await;
    let hashed = password::hash("shovel the ramp").await.expect("hashed");
    let first = |email: &str| -> NewPerson {
        serde_json::from_value(json!({"name": "Administrator", "role": "administrator", "all_depots": true, "email": email}))
            .expect("a new person")
    };
    let make = async |email: &str| {
        organisation::create(&house.database, "Lee side", Some((&first(email), &hashed))).await
    };
    assert!(matches!(make("nobody").await, Err(Error::Invalid { field, .. }) if field == "email"));
    let owner = owner(&house.name).await;
    let count = async || -> i64 {
        let row = owner.query_one("select count(*) from organisation", &[]);
        row.await.expect("counted").get(0)
    };
    assert_eq!(count().await, 1);
    make("ada@example.org").await.expect("made");
    assert!(
        matches!(make("ada@example.org").await, Err(Error::Conflict { field, .. }) if field == "email")
    );
    assert_eq!(count().await, 2);
}
