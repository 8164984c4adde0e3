//! How it is kept: schema, row-level security, the feed, marks, and the private Postgres.

mod private;
mod schema;

use rimeyard_store::private::Cluster;
use rimeyard_store::{Database, Sizes, boot, migrate};
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
    boot::check(&database, true).await.expect("fit to serve");
    (database, name)
}

/// A connection as the owner of the tables, whom row-level security does not bind because it is a superuser.
async fn owner(name: &str) -> tokio_postgres::Client {
    let (client, connection) =
        tokio_postgres::connect(&cluster().await.owner_url(name), tokio_postgres::NoTls)
            .await
            .expect("connected as owner");
    tokio::spawn(connection);
    client
}
