//! One Postgres for the test process, one template database in it, and a clone of that for each test.

#[cfg(feature = "containers")]
mod container;

use rimeyard_store::{Database, Sizes, migrate};
use tokio::sync::OnceCell;
use uuid::Uuid;

use crate::world::{self, World};

/// A container, as the feature asks; it takes itself down when this process ends.
#[cfg(feature = "containers")]
use container::Container as Server;
/// A private one, as `rimeyard local` runs it; it takes itself down when this process ends, however it does.
#[cfg(not(feature = "containers"))]
use rimeyard_store::private::Cluster as Server;

const TEMPLATE: &str = "template_of_tests";

struct Postgres {
    server: Server,
    world: World,
}

static POSTGRES: OnceCell<Postgres> = OnceCell::const_new();

/// A database that no other test sees.
pub struct TestDatabase {
    /// What the programs connect to.
    pub login_url: String,
    /// What its owner connects to: past row-level security, to look at what is really stored.
    pub owner_url: String,
    /// Who and what is in it.
    pub world: World,
    name: String,
}

impl TestDatabase {
    /// Drops it, and whoever is still connected.
    pub async fn drop(self) {
        // At the end of a process it goes with its server.
        let _ = postgres().await.server.drop_database(&self.name).await;
    }
}

/// Clones the template.
pub async fn fresh_database() -> TestDatabase {
    let Postgres { server, world } = postgres().await;
    let name = format!("test_{}", Uuid::now_v7().simple());
    server
        .clone_database(TEMPLATE, &name)
        .await
        .expect("the template is cloned");
    TestDatabase {
        login_url: server.login_url(&name),
        owner_url: server.owner_url(&name),
        world: *world,
        name,
    }
}

async fn postgres() -> &'static Postgres {
    POSTGRES
        .get_or_init(async || {
            let server = Server::scratch().await.expect("Postgres starts");
            server
                .create_database(TEMPLATE)
                .await
                .expect("the template is made");
            let login_url = server.login_url(TEMPLATE);
            migrate::migrate(&server.owner_url(TEMPLATE), &login_url)
                .await
                .expect("it is migrated");
            let sizes = Sizes {
                app: 1,
                door: 1,
                clock: 1,
            };
            let database = Database::connect(&login_url, sizes)
                .await
                .expect("it is connected to");
            let world = world::fill(&database).await;
            // A database with connections cannot be cloned; these close in the background.
            drop(database);
            wait_until_alone(&server).await;
            Postgres { server, world }
        })
        .await
}

/// Until the template can be cloned.
async fn wait_until_alone(server: &Server) {
    for _ in 0..500 {
        let name = format!("trial_{}", Uuid::now_v7().simple());
        if server.clone_database(TEMPLATE, &name).await.is_ok() {
            server
                .drop_database(&name)
                .await
                .expect("the trial is dropped");
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(10)).await;
    }
    panic!("somebody stays connected to the template");
}
