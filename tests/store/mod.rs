//! How it is kept: schema, row-level security, the feed, marks, sign-in, and the private Postgres.

mod boot;
mod database;
mod door;
mod facts;
mod feed;
mod idempotency;
mod listing;
mod mark;
mod person;
mod private;
mod pull;
mod roles;
mod row_level_security;
mod schema;
mod state;
mod sweep;

use rimeyard_store::private::Cluster;
use rimeyard_store::{Database, Sizes, Tenant, depot, feed as store_feed, migrate, organisation};
use serde_json::json;
use tokio::sync::OnceCell;
use uuid::Uuid;

static CLUSTER: OnceCell<Cluster> = OnceCell::const_new();

/// One cluster for all tests of the binary, with a migrated database to copy. It goes when the process ends.
async fn cluster() -> &'static Cluster {
    CLUSTER
        .get_or_init(async || {
            let cluster = Cluster::scratch().await.expect("a scratch cluster");
            cluster
                .create_database("template")
                .await
                .expect("a template");
            migrate::migrate(
                &cluster.owner_url("template"),
                &cluster.login_url("template"),
            )
            .await
            .expect("migrated");
            cluster
        })
        .await
}

/// A fresh, migrated database, and its name.
async fn database() -> (Database, String) {
    let name = format!("test_{}", Uuid::now_v7().simple());
    let cluster = cluster().await;
    cluster
        .clone_database("template", &name)
        .await
        .expect("a copy of the template");
    let database = Database::connect(&cluster.login_url(&name), Sizes::default())
        .await
        .expect("connected");
    rimeyard_store::boot::check(&database, true)
        .await
        .expect("fit to serve");
    (database, name)
}

/// A connection as the owner of the tables, whom row-level security does not bind because it is a superuser.
async fn owner(name: &str) -> tokio_postgres::Client {
    connect(&cluster().await.owner_url(name)).await
}

async fn connect(url: &str) -> tokio_postgres::Client {
    let (client, connection) = tokio_postgres::connect(url, tokio_postgres::NoTls)
        .await
        .expect("connected");
    tokio::spawn(connection);
    client
}

/// A fresh database with one organisation.
struct House {
    database: Database,
    name: String,
    tenant: Tenant,
}

impl House {
    async fn new() -> House {
        let (database, name) = database().await;
        let org_id = organisation::create(&database, "Test transit", None)
            .await
            .expect("an organisation");
        House {
            database,
            name,
            tenant: Tenant::system(org_id),
        }
    }

    fn org_id(&self) -> Uuid {
        self.tenant.org_id
    }

    /// Another organisation in the same database.
    async fn other(&self) -> House {
        let org_id = organisation::create(&self.database, "Other transit", None)
            .await
            .expect("an organisation");
        House {
            database: self.database.clone(),
            name: self.name.clone(),
            tenant: Tenant::system(org_id),
        }
    }

    /// A depot, with its scope and its mark.
    async fn depot(&self) -> Uuid {
        let new: depot::NewDepot = serde_json::from_value(json!({
            "name": format!("Depot {}", Uuid::now_v7()),
            "zone": "America/Denver", "latitude": 39.5, "longitude": -106.0,
            "season": {"starts": "11-15", "ends": "04-10"},
            "typical_snow_days": 60,
            "design_storm": {"hours": 12.0, "depth_mm": 250.0, "reclear_mm": 100.0},
        }))
        .expect("a depot");
        store_feed::write(&self.database, &self.tenant, &[self.org_id()], async |tx| {
            depot::create(tx, &new).await
        })
        .await
        .expect("made")
        .id
    }

    /// Publishes one document.
    async fn publish(
        &self,
        scope_id: Uuid,
        kind: &'static str,
        id: Uuid,
        rev: i64,
        doc: &serde_json::Value,
    ) {
        store_feed::write(&self.database, &self.tenant, &[scope_id], async |tx| {
            tx.publish(scope_id, kind, id, rev, doc)
        })
        .await
        .expect("published");
    }

    /// A scope's head and digest, and the XOR of the digests of its live entries, as the owner sees them.
    async fn scope(&self, scope_id: Uuid) -> (i64, i64, i64) {
        let row = owner(&self.name)
            .await
            .query_one(
                "select head, digest, (select coalesce(bit_xor(e.digest), 0) from feed_entry e where e.scope_id = s.scope_id and not deleted)
                 from feed_scope s where scope_id = $1",
                &[&scope_id],
            )
            .await
            .expect("the scope");
        (row.get(0), row.get(1), row.get(2))
    }
}
