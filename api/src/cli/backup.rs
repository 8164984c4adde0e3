//! `rimeyard backup` and `rimeyard restore`

use std::path::PathBuf;

use clap::Args;
use rimeyard_store::backup::{self, Manifest, Place};
use rimeyard_store::private::{Cluster, Keep};

use super::{Failure, local};
use crate::settings::Settings;

#[derive(Debug, Args)]
pub struct Backup {
    /// The folder to make.
    #[arg(long, value_name = "FOLDER")]
    to: PathBuf,
    #[command(flatten)]
    of: Which,
}

#[derive(Debug, Args)]
pub struct Restore {
    /// The folder that `rimeyard backup` made.
    #[arg(long, value_name = "FOLDER")]
    from: PathBuf,
    #[command(flatten)]
    into: Which,
}

/// Which database.
#[derive(Debug, Args)]
struct Which {
    /// The data folder of a `rimeyard local`; without it, the database of MIGRATE_DATABASE_URL and DATABASE_URL.
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    #[command(flatten)]
    settings: Settings,
}

impl Which {
    fn of_the_settings(&self) -> Result<Place, Failure> {
        let login_url = self.settings.database_url()?;
        let owner_url = self.settings.migrate_database_url.as_deref();
        Ok(Place {
            owner_url: owner_url.unwrap_or(login_url).to_owned(),
            login_url: login_url.to_owned(),
            cluster: None,
        })
    }
}

/// A running `local` is backed up while it works; for one that is not, its Postgres is started.
pub async fn backup(options: Backup) -> Result<(), Failure> {
    let Backup { to, of } = options;
    let Some(folder) = &of.data else {
        return told(
            &backup::backup(&of.of_the_settings()?, &to).await?,
            "written",
        );
    };
    if let Some(running) = Cluster::running_place(folder, local::DATABASE).await {
        return told(&backup::backup(&running, &to).await?, "written");
    }
    if !Cluster::is_in(folder) {
        return Err(format!("nothing was ever kept in {}", folder.display()).into());
    }
    let cluster = Cluster::start(folder, Keep::Durable).await?;
    let done = backup::backup(&cluster.place(local::DATABASE), &to).await;
    let stopped = cluster.stop().await;
    told(&done?, "written")?;
    Ok(stopped?)
}

pub async fn restore(options: Restore) -> Result<(), Failure> {
    let Restore { from, into } = options;
    let Some(folder) = &into.data else {
        return told(
            &backup::restore(&into.of_the_settings()?, &from).await?,
            "restored",
        );
    };
    let cluster = Cluster::start(folder, Keep::Durable).await?;
    let done = match cluster.create_database(local::DATABASE).await {
        Ok(()) => backup::restore(&cluster.place(local::DATABASE), &from).await,
        Err(error) => Err(error),
    };
    let stopped = cluster.stop().await;
    told(&done?, "restored and compared")?;
    Ok(stopped?)
}

fn told(manifest: &Manifest, what: &str) -> Result<(), Failure> {
    let rows: i64 = manifest.tables.values().map(|table| table.rows).sum();
    println!(
        "{rows} rows of {} tables, as of {}, are {what}",
        manifest.tables.len(),
        manifest.made_at
    );
    if manifest.damaged_scopes > 0 {
        eprintln!(
            "{} scopes of the feed have another digest than their entries, and had so when the backup was made",
            manifest.damaged_scopes
        );
    }
    Ok(())
}
