//! Backups: all of a database in a folder, by Postgres' own pg_dump and pg_restore, with what it held written beside it.
//!
//! In the folder: `database.dump` (pg_dump's custom format) and `manifest.json`. Whoever has it has everything: passwords'
//! hashes and the keys that sign tokens are in it, so it is readable by its maker alone.

mod manifest;
mod programs;

use std::fs::{self, DirBuilder, OpenOptions};
use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use tokio_postgres::Client;

use crate::database::config_of;
use crate::migrate::{connect, failed, migrate, prepare_roles};
use crate::{Error, Result};
pub use manifest::{Manifest, Table};
use programs::Programs;

const DUMP: &str = "database.dump";
const MANIFEST: &str = "manifest.json";

/// Where a database is.
#[derive(Clone)]
pub struct Place {
    /// Its address for the owner of its tables.
    pub owner_url: String,
    /// Its address for the programs' login.
    pub login_url: String,
    /// The folder of its cluster, where that is a private one: Postgres' programs may be in there.
    pub cluster: Option<PathBuf>,
}

/// Writes all of a database into the folder `to`, which must not be there yet, as of one instant. Whoever is connected
/// goes on working.
///
/// # Errors
/// [`Error::Unavailable`] with what to do: the folder is there or cannot be made; the login cannot read past row-level
/// security; no pg_dump of the server's version or newer is here; it refuses, with its words.
pub async fn backup(place: &Place, to: &Path) -> Result<Manifest> {
    let config = config_of(&place.owner_url)?;
    let mut client = connect(&config).await?;
    reads_everything(&client).await?;
    if to.exists() {
        return Err(unusable(to, "it is there already; name a new folder"));
    }
    let programs = Programs::find(&client, place.cluster.as_deref()).await?;

    // Whole or not at all.
    let mut name = to.as_os_str().to_owned();
    name.push(".unfinished");
    let unfinished = PathBuf::from(name);
    DirBuilder::new()
        .mode(0o700)
        .create(&unfinished)
        .map_err(|error| unusable(&unfinished, error))?;
    let done = fill(&mut client, &config, &programs, &unfinished).await;
    let done = done.and_then(|manifest| {
        fs::rename(&unfinished, to).map_err(|error| unusable(to, error))?;
        Ok(manifest)
    });
    if done.is_err() {
        let _ = fs::remove_dir_all(&unfinished);
    }
    done
}

/// Counts and dumps the same snapshot.
async fn fill(
    client: &mut Client,
    config: &tokio_postgres::Config,
    programs: &Programs,
    folder: &Path,
) -> Result<Manifest> {
    let transaction = client
        .build_transaction()
        .isolation_level(tokio_postgres::IsolationLevel::RepeatableRead)
        .read_only(true)
        .start()
        .await
        .map_err(failed)?;
    let snapshot: String = transaction
        .query_one("select pg_export_snapshot()", &[])
        .await
        .map_err(failed)?
        .get(0);
    let dump = folder.join(DUMP);
    private_file(&dump)?;
    programs.dump(config, &snapshot, &dump).await?;
    let manifest = Manifest::of(transaction.client()).await?;
    let text = serde_json::to_string_pretty(&manifest).map_err(Error::internal)?;
    let mut file = private_file(&folder.join(MANIFEST))?;
    file.write_all(text.as_bytes())
        .and_then(|()| file.sync_all())
        .and_then(|()| fs::File::open(&dump)?.sync_all())
        .map_err(|error| unusable(folder, error))?;
    Ok(manifest)
}

/// Reads a backup into a database, which must be empty, makes the roles and the programs' login as [`migrate`] does, compares what is there with what the backup held, and then raises the installation's counter: every
/// reader's cursor is from a database that is no more, and is answered with `reset`. Last, the schema is brought up to
/// what this program expects.
///
/// # Errors
/// [`Error::Unavailable`] with what to do: no backup, a database that is not empty, a login that cannot do it, pg_restore's
/// words, or what differs from the backup; that database is not to be used.
pub async fn restore(place: &Place, from: &Path) -> Result<Manifest> {
    let config = config_of(&place.owner_url)?;
    let login = config_of(&place.login_url)?;
    let manifest =
        fs::read_to_string(from.join(MANIFEST)).map_err(|error| unusable(from, error))?;
    let manifest: Manifest = serde_json::from_str(&manifest)
        .map_err(|error| unusable(from, format!("{MANIFEST}: {error}")))?;
    let client = connect(&config).await?;
    reads_everything(&client).await?;
    refuse_unless_empty(&client).await?;
    let programs = Programs::find(&client, place.cluster.as_deref()).await?;
    // Grants and policies name them.
    prepare_roles(&client, &login).await?;
    programs.restore(&config, &from.join(DUMP)).await?;

    let wrong = manifest.differences(&Manifest::of(&client).await?);
    if !wrong.is_empty() {
        return Err(Error::Unavailable(format!(
            "what was restored is not what the backup held; drop this database and do not use it:\n{}",
            wrong.join("\n")
        )));
    }
    // Past every counter that this backup may have been restored with before, so that no two restored databases are
    // taken for each other.
    client
        .execute(
            "update installation set counter = greatest(counter + 1, (extract(epoch from clock_timestamp()) * 1000)::bigint)",
            &[],
        )
        .await
        .map_err(failed)?;
    // A young database has no statistics, and plans made without them may be slow for as long as a connection lives.
    client.batch_execute("analyze").await.map_err(failed)?;
    drop(client);
    migrate(&place.owner_url, &place.login_url).await?;
    Ok(manifest)
}

/// Row-level security is forced on the owner of the tables, too: it would leave rows out, were pg_dump not to refuse.
async fn reads_everything(client: &Client) -> Result<()> {
    let row = client
        .query_one(
            "select rolsuper or rolbypassrls, current_user::text from pg_roles where rolname = current_user",
            &[],
        )
        .await
        .map_err(failed)?;
    if row.get(0) {
        return Ok(());
    }
    let name: String = row.get(1);
    Err(Error::Unavailable(format!(
        "the login {name:?} may not read past row-level security: set MIGRATE_DATABASE_URL to a superuser, or, as one, \
         run: alter role {name:?} bypassrls"
    )))
}

async fn refuse_unless_empty(client: &Client) -> Result<()> {
    let row = client
        .query_one(
            "select current_database()::text, count(c.oid) from pg_class c join pg_namespace n on n.oid = c.relnamespace
             where n.nspname not like 'pg\\_%' and n.nspname <> 'information_schema'",
            &[],
        )
        .await
        .map_err(failed)?;
    let (name, relations): (String, i64) = (row.get(0), row.get(1));
    if relations == 0 {
        return Ok(());
    }
    Err(Error::Unavailable(format!(
        "the database {name:?} is not empty, and nothing is ever restored over something: create a new one and name it"
    )))
}

fn private_file(path: &Path) -> Result<fs::File> {
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(path)
        .map_err(|error| unusable(path, error))
}

fn unusable(path: &Path, why: impl std::fmt::Display) -> Error {
    Error::Unavailable(format!("{} cannot be used ({why})", path.display()))
}
