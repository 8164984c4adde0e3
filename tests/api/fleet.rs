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
        let new = json!({"tag": name, "depot_id": depot.id, "model_id": model, "acquired_on": "2020-10-01"});
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
