//! A server for one test.

use std::net::SocketAddr;
use std::thread;

use actix_web::dev::ServerHandle;
use actix_web::web::Data;
use rimeyard_api::settings::Settings;
use rimeyard_api::{State, server};
use rimeyard_store::{Database, Role, Sizes};
use serde_json::json;
use tokio::sync::{OnceCell, oneshot};

use crate::actor::Actor;
use crate::postgres::{TestDatabase, fresh_database};
use crate::world::{World, email};

/// A server on a port of its own with a database of its own. It stops when it is dropped.
pub struct TestServer {
    /// Where it listens.
    pub address: SocketAddr,
    /// The same database, to look and to set up what HTTP cannot.
    pub database: Database,
    /// What a worker of its own connects to.
    pub login_url: String,
    /// Past row-level security, to look at what is really stored.
    pub owner_url: String,
    /// Who and what is in it at the start.
    pub world: World,
    handle: ServerHandle,
    key: OnceCell<String>,
}

impl TestServer {
    /// Starts one, without a worker: nothing is recomputed.
    pub async fn start() -> Self {
        Self::start_as(|_| {}, None).await
    }

    /// Starts one with a worker beside it, as `rimeyard local` does.
    pub async fn start_with_worker() -> Self {
        Self::start_as(|_| {}, Some(rimeyard_worker::Settings::default())).await
    }

    /// Starts one with other settings.
    pub async fn start_with(change: impl FnOnce(&mut Settings)) -> Self {
        Self::start_as(change, None).await
    }

    /// Starts one with other settings, and a worker if it is told how to work.
    pub async fn start_as(
        change: impl FnOnce(&mut Settings),
        worker: Option<rimeyard_worker::Settings>,
    ) -> Self {
        let own = fresh_database().await;
        let (login_url, owner_url, world) =
            (own.login_url.clone(), own.owner_url.clone(), own.world);
        let settings = settings(change);
        let (told, started) = oneshot::channel();
        // A thread of its own, so that it outlives no test and no test's runtime ends under it.
        thread::spawn(move || run(own, &settings, worker, told));
        let (address, handle) = started.await.expect("the server starts");
        let sizes = Sizes {
            app: 2,
            door: 1,
            clock: 1,
        };
        let database = Database::connect(&login_url, sizes)
            .await
            .expect("the test connects");
        Self {
            address,
            database,
            login_url,
            owner_url,
            world,
            handle,
            key: OnceCell::new(),
        }
    }

    /// Does this while a worker works beside the server, and lets it end what it has begun; after that only requests
    /// change anything.
    pub async fn with_worker<T>(&self, work: impl AsyncFnOnce() -> T) -> T {
        let (stop, stopped) = oneshot::channel::<()>();
        let until = async {
            let _ = stopped.await;
        };
        let worker = rimeyard_worker::run(
            self.database.clone(),
            rimeyard_worker::Settings::default(),
            until,
        );
        let working = async {
            let done = work().await;
            drop(stop);
            done
        };
        futures::join!(working, worker).0
    }

    /// Nobody: no token.
    pub fn anonymous(&self) -> Actor {
        Actor::new(self.address, None)
    }

    /// The person of this role in our organisation, signed in; the depot system with a key that may write all that a key
    /// may.
    pub async fn of_role(&self, role: Role) -> Actor {
        if role == Role::DepotSystem {
            let key = self.key.get_or_init(async || self.make_key().await).await;
            return self.anonymous().with_token(key);
        }
        self.anonymous().signed_in(&email("ours", role)).await
    }

    async fn make_key(&self) -> String {
        let administrator = email("ours", Role::Administrator);
        let administrator = self.anonymous().signed_in(&administrator).await;
        let path = format!("/v1/people?email={}", email("ours", Role::DepotSystem));
        let programs = administrator.get(&path).await.expect(200).json();
        let expires_at = jiff::Timestamp::now() + jiff::SignedDuration::from_hours(24);
        let key = json!({
            "person_id": programs["items"][0]["id"], "name": "The test's", "expires_at": expires_at,
            "may_write": ["meter readings", "snowfall"],
        });
        let key = administrator
            .post("/v1/keys", &key)
            .await
            .expect(201)
            .json();
        key["key"].as_str().expect("the secret").to_owned()
    }

    /// The person of this role in the other organisation.
    pub async fn foreigner(&self, role: Role) -> Actor {
        self.anonymous().signed_in(&email("theirs", role)).await
    }

    /// The technician, granted Home.
    pub async fn technician(&self) -> Actor {
        self.of_role(Role::Technician).await
    }

    /// The operator, granted Home.
    pub async fn operator(&self) -> Actor {
        self.of_role(Role::Operator).await
    }

    /// The depot lead, granted Home.
    pub async fn depot_lead(&self) -> Actor {
        self.of_role(Role::DepotLead).await
    }

    /// The district manager, granted every depot.
    pub async fn district_manager(&self) -> Actor {
        self.of_role(Role::DistrictManager).await
    }

    /// The depot's own program, granted Home.
    pub async fn depot_system(&self) -> Actor {
        self.of_role(Role::DepotSystem).await
    }

    /// The administrator, granted every depot.
    pub async fn administrator(&self) -> Actor {
        self.of_role(Role::Administrator).await
    }

    /// The administrator of the other organisation.
    pub async fn foreign_administrator(&self) -> Actor {
        self.foreigner(Role::Administrator).await
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        // Asked for at once; its thread does the rest.
        drop(self.handle.stop(false));
    }
}

/// Those of tests, with what one test changes.
fn settings(change: impl FnOnce(&mut Settings)) -> Settings {
    let mut settings = Settings::defaults();
    settings.scratch_database = true;
    // Tests sign in more often than people; those of the limit set their own.
    settings.sign_ins_per_address = 10_000;
    settings.threads = 1;
    change(&mut settings);
    settings
}

/// Serves until it is stopped, and drops the database.
fn run(
    own: TestDatabase,
    settings: &Settings,
    worker: Option<rimeyard_worker::Settings>,
    told: oneshot::Sender<(SocketAddr, ServerHandle)>,
) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    runtime.block_on(async {
        let sizes = Sizes {
            app: 4,
            door: 2,
            clock: 1,
        };
        let database = Database::connect(&own.login_url, sizes)
            .await
            .expect("the server connects");
        let (stop_worker, stopped) = oneshot::channel::<()>();
        let worker = worker.map(|how| {
            let until = async {
                let _ = stopped.await;
            };
            tokio::spawn(rimeyard_worker::run(database.clone(), how, until))
        });
        let state = Data::new(
            State::new(database, settings)
                .await
                .expect("the server has its keys"),
        );
        let (server, address) =
            server::bind(state, "127.0.0.1:0", settings.threads).expect("a free port");
        // A test that ended early waits for nothing.
        let _ = told.send((address, server.handle()));
        server.await.expect("the server ends well");
        drop(stop_worker);
        if let Some(worker) = worker {
            worker.await.expect("the worker ends well");
        }
        own.drop().await;
    });
}
