//! Machines to inspect.

use jiff::{SignedDuration, Timestamp};
use rimeyard_harness::{Actor, Depot, TestServer};
use rimeyard_rules::sheet::{battery_checks, two_stage_thrower};
use serde_json::{Value, json};
use uuid::Uuid;

/// A two-stage thrower with a battery, acquired on 2020-10-01, of a model and with a checklist of its own.
pub struct Fleet {
    /// Its id.
    pub unit: String,
}

/// One at Home.
pub async fn fleet(server: &TestServer) -> Fleet {
    Fleet::of(server, "Home").await
}

impl Fleet {
    /// Another one: at "Home", at "Far", or of the other organisation ("theirs").
    pub async fn of(server: &TestServer, place: &str) -> Self {
        let (administrator, depot) = match place {
            "Home" => (server.administrator().await, server.world.ours.home),
            "Far" => (server.administrator().await, server.world.ours.far),
            _ => (
                server.foreign_administrator().await,
                server.world.theirs.home,
            ),
        };
        Self::at(&administrator, &depot).await
    }

    /// Another one at this depot, made by this administrator.
    pub async fn at(administrator: &Actor, depot: &Depot) -> Self {
        let name = Uuid::now_v7().to_string();
        let new = json!({"name": name, "kind": "two-stage thrower"});
        let checklist = administrator
            .post("/v1/checklists", &new)
            .await
            .expect(201)
            .id();
        let mut sheet = two_stage_thrower();
        sheet.checks.extend(battery_checks());
        let new = json!({"name": name, "kind": "two-stage thrower", "checklist_id": checklist, "sheet": sheet});
        let model = administrator
            .post("/v1/models", &new)
            .await
            .expect(201)
            .id();
        // A name of its own: names are the whole organisation's, a tag is its machine's.
        let tag = Uuid::now_v7().to_string();
        let new = json!({"tag": tag, "depot_id": depot.id, "model_id": model, "acquired_on": "2020-10-01", "came_new": true});
        let unit = administrator.post("/v1/units", &new).await.expect(201).id();
        Fleet { unit }
    }

    /// One of those at this depot, made by this administrator if there is none.
    pub async fn any_at(administrator: &Actor, depot: &Depot) -> Self {
        let path = format!("/v1/units?depot_id={}&limit=1", depot.id);
        let units = administrator.get(&path).await.expect(200).json();
        match units["items"][0]["id"].as_str() {
            Some(unit) => Fleet {
                unit: unit.to_owned(),
            },
            None => Self::at(administrator, depot).await,
        }
    }
}

/// What is posted for a unit answers with its id.
pub async fn posted(actor: &Actor, path: &str, body: &Value) -> String {
    actor.post(path, body).await.expect(201).id()
}

/// An instant so many days ago (in so many days, where negative), as JSON has it.
pub fn days_ago(days: i64) -> String {
    (Timestamp::now() - SignedDuration::from_hours(24 * days)).to_string()
}

/// The database past row-level security.
pub async fn owner(server: &TestServer) -> tokio_postgres::Client {
    let (owner, connection) = tokio_postgres::connect(&server.owner_url, tokio_postgres::NoTls)
        .await
        .unwrap();
    tokio::spawn(connection);
    owner
}

/// What the feed of a scope has of an object.
pub struct Entry {
    /// The document.
    pub doc: Value,
    /// Its version.
    pub rev: i64,
    /// Whether it is a tombstone.
    pub deleted: bool,
}

/// The entry of an object in a scope of our organisation; it must be there.
pub async fn entry(server: &TestServer, scope: Uuid, kind: &str, id: &str) -> Entry {
    let id: Uuid = id.parse().unwrap();
    let row = owner(server)
        .await
        .query_opt(
            "select doc, rev, deleted from feed_entry where org_id = $1 and scope_id = $2 and kind = $3 and object_id = $4",
            &[&server.world.ours.org_id, &scope, &kind, &id],
        )
        .await
        .unwrap()
        .unwrap_or_else(|| panic!("no {kind} {id} in the feed of {scope}"));
    Entry {
        doc: serde_json::from_str(row.get(0)).unwrap(),
        rev: row.get(1),
        deleted: row.get(2),
    }
}

/// Every scope's digest is that of its live documents, and its head is the newest of them.
pub async fn feed_is_sound(server: &TestServer) {
    let wrong = owner(server)
        .await
        .query(
            "select s.scope_id from feed_scope s
             left join feed_entry e on e.org_id = s.org_id and e.scope_id = s.scope_id
             group by s.org_id, s.scope_id, s.head, s.digest
             having s.digest <> coalesce(bit_xor(e.digest) filter (where not e.deleted), 0)
                 or s.head <> coalesce(max(e.seq), 0)",
            &[],
        )
        .await
        .unwrap();
    assert!(wrong.is_empty(), "{} scopes", wrong.len());
}

/// How often a depot of ours was marked to be computed anew.
pub async fn marks(server: &TestServer, depot: &Depot) -> i64 {
    let row = owner(server)
        .await
        .query_opt(
            "select gen from mark where org_id = $1 and depot_id = $2",
            &[&server.world.ours.org_id, &depot.id],
        )
        .await
        .unwrap();
    row.map_or(0, |row| row.get(0))
}

/// What was done to an object of ours, in order, with the details.
pub async fn audited(server: &TestServer, id: &str) -> Vec<(String, Value)> {
    let id: Uuid = id.parse().unwrap();
    owner(server)
        .await
        .query(
            "select action, detail::text from audit where org_id = $1 and object_id = $2 order by id",
            &[&server.world.ours.org_id, &id],
        )
        .await
        .unwrap()
        .iter()
        .map(|row| (row.get(0), serde_json::from_str(row.get(1)).unwrap()))
        .collect()
}

/// A model of the default two-stage thrower.
pub async fn model(administrator: &Actor) -> String {
    let name = Uuid::now_v7().to_string();
    let mut new = json!({"name": name, "kind": "two-stage thrower"});
    new["checklist_id"] = json!(posted(administrator, "/v1/checklists", &new).await);
    posted(administrator, "/v1/models", &new).await
}

/// What is on the first page of a list.
pub async fn items(actor: &Actor, path: &str) -> Vec<Value> {
    let page = actor.get(path).await.expect(200).json();
    page["items"].as_array().unwrap().clone()
}
