//! `rimeyard local`: everything on this machine, in one folder, with nothing to set up.

use std::io::Write;
use std::path::PathBuf;

use actix_web::web::Data;
use clap::Args;
use jiff::Timestamp;
use rimeyard_store::private::{Cluster, Keep, default_folder};
use rimeyard_store::{Database, Sizes, boot, door, migrate, organisation};
use tokio::sync::oneshot;

use super::{Failure, accounts, told_to_stop};
use crate::called::PublicAddress;
use crate::settings::Settings;
use crate::state::State;
use crate::{demo, server};

/// The database's name in the private cluster.
pub const DATABASE: &str = "rimeyard";
/// Connections to load the demo with.
const FILLING: Sizes = Sizes {
    app: 6,
    door: 1,
    clock: 1,
};

#[derive(Debug, Args)]
pub struct Options {
    /// Port to listen on, on 127.0.0.1; 0 takes any that is free.
    #[arg(long, default_value_t = 8080)]
    port: u16,
    /// Folder to keep everything in: /var/lib/rimeyard for root, else the user's data folder.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Begin with an organisation and its accounts only, without the demo.
    #[arg(long)]
    empty: bool,
}

pub async fn run(options: Options) -> Result<(), Failure> {
    let folder = options.data.unwrap_or_else(default_folder);
    let progress = |text: &str| eprintln!("{text}");
    progress(&format!("starting Postgres in {}", folder.display()));
    let cluster = Cluster::start(&folder, Keep::Durable).await?;
    let outcome = serve(&cluster, &folder, options.port, options.empty, &progress).await;
    // Also after a failure: what was written is to be on disk when we are gone.
    let stopped = cluster.stop().await;
    outcome?;
    Ok(stopped?)
}

/// The database, made and brought up to date as need be.
async fn open(cluster: &Cluster) -> Result<Database, Failure> {
    cluster.create_database(DATABASE).await?;
    let login_url = cluster.login_url(DATABASE);
    migrate::migrate(&cluster.owner_url(DATABASE), &login_url).await?;
    let database = Database::connect(&login_url, Sizes::default()).await?;
    boot::check(&database, false).await?;
    Ok(database)
}

async fn serve(
    cluster: &Cluster,
    folder: &std::path::Path,
    port: u16,
    empty: bool,
    progress: &impl Fn(&str),
) -> Result<(), Failure> {
    let mut database = open(cluster).await?;
    let signs_in = folder.join(accounts::FILE);
    if !door::anybody(&database).await? {
        if signs_in.exists() {
            progress("the first start was cut short; beginning anew");
            drop(database);
            cluster.drop_database(DATABASE).await?;
            database = open(cluster).await?;
        }
        let accounts = accounts::read_or_make(folder)?;
        let org_id = if empty {
            organisation::create(&database, "Rimeyard", None).await?
        } else {
            let filling = Database::connect_to_fill(&cluster.login_url(DATABASE), FILLING).await?;
            demo::load(&filling, Timestamp::now(), demo::SEED, progress).await?
        };
        // Last of all: whoever was interrupted before this begins anew.
        accounts::create(&database, org_id, &accounts).await?;
    } else if !signs_in.exists() {
        progress(&format!(
            "{} is gone; sign in with what you know, or start afresh with another --data",
            signs_in.display()
        ));
    }

    // What is due is computed before anyone can ask for it; from then on the worker keeps up.
    progress("computing readiness");
    let work = rimeyard_worker::Settings::default();
    rimeyard_worker::learn::pass(&database, &work).await?;
    rimeyard_worker::drain(&database, &work).await?;
    let (stop_worker, stopped) = oneshot::channel::<()>();
    let worker = tokio::spawn(rimeyard_worker::run(database.clone(), work, async {
        // Told, or forgotten: either way it is over.
        let _ = stopped.await;
    }));

    let settings = Settings::defaults();
    let state = Data::new(State::new(database, &settings).await?);
    let (server, address) = server::bind(
        state.clone(),
        &format!("127.0.0.1:{port}"),
        settings.threads,
    )
    .map_err(|error| {
        format!(
            "cannot listen on 127.0.0.1:{port} ({error}); choose another with --port, or 0 for any"
        )
    })?;
    state
        .public_address
        .get_or_init(|| PublicAddress::of_this_machine(address));
    let handle = server.handle();
    let serving = tokio::spawn(server);
    // Whoever reads this may have gone by the second line: no reason to stop.
    let mut out = std::io::stdout();
    let _ = write!(
        out,
        "ready http://{address}\nSign in with an address and password from {}.\nCtrl-C stops it; the data stays.\n",
        signs_in.display()
    );
    let _ = out.flush();
    told_to_stop().await?;
    progress("stopping");
    handle.stop(true).await;
    serving.await??;
    drop(stop_worker);
    worker.await?;
    Ok(())
}
