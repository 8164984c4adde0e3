//! pg_dump and pg_restore: of the server's own version if they are here, else of the next newer one.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use tokio::process::Command;
use tokio_postgres::config::Host;
use tokio_postgres::{Client, Config};

use crate::migrate::failed;
use crate::private::binaries::{folders, major_of};
use crate::{Error, Result};

pub(super) struct Programs {
    folder: PathBuf,
}

impl Programs {
    /// Those that fit the server. A newer pg_dump reads an older server; a newer pg_restore may say to it what it does
    /// not know, so the server's own version comes first.
    pub(super) async fn find(client: &Client, cluster: Option<&Path>) -> Result<Programs> {
        let number: String = client
            .query_one("show server_version_num", &[])
            .await
            .map_err(failed)?
            .get(0);
        let server = number.parse::<u32>().map_err(Error::internal)? / 10_000;
        let mut found: Vec<(u32, PathBuf)> = folders(cluster)
            .into_iter()
            .filter_map(|folder| {
                let told = std::process::Command::new(folder.join("pg_dump"))
                    .arg("--version")
                    .output()
                    .ok()?;
                let major = major_of(&String::from_utf8_lossy(&told.stdout))?;
                (major >= server && folder.join("pg_restore").is_file()).then_some((major, folder))
            })
            .collect();
        found.sort_by_key(|(major, _)| *major);
        match found.into_iter().next() {
            Some((_, folder)) => Ok(Programs { folder }),
            None => Err(Error::Unavailable(format!(
                "the server is Postgres {server}, and neither its pg_dump and pg_restore nor newer ones are here; install \
                 them (Debian: apt install postgresql-client-{server})"
            ))),
        }
    }

    /// All of the database as of a snapshot, into a file that is there.
    pub(super) async fn dump(&self, config: &Config, snapshot: &str, to: &Path) -> Result<()> {
        let mut dump = self.command("pg_dump", config)?;
        dump.args(["--format=custom", "--no-password", "--snapshot"])
            .arg(snapshot)
            .arg("--file")
            .arg(to);
        run(dump).await
    }

    /// All of a dump into the database, in one transaction.
    pub(super) async fn restore(&self, config: &Config, from: &Path) -> Result<()> {
        let mut restore = self.command("pg_restore", config)?;
        // Everything shall be the restoring login's own, whoever owned it before.
        restore
            .args(["--no-owner", "--single-transaction", "--no-password"])
            .arg(format!(
                "--dbname={}",
                config.get_dbname().unwrap_or_default()
            ))
            .arg(from);
        run(restore).await
    }

    /// The address goes in by the environment: anyone on the machine can read a program's arguments.
    fn command(&self, name: &str, config: &Config) -> Result<Command> {
        let mut command = Command::new(self.folder.join(name));
        for (name, _) in std::env::vars_os() {
            if name.to_string_lossy().starts_with("PG") {
                command.env_remove(name);
            }
        }
        let host = match config.get_hosts() {
            [Host::Tcp(host)] => host.clone(),
            #[cfg(unix)]
            [Host::Unix(folder)] => folder.display().to_string(),
            _ => {
                return Err(Error::invalid(
                    "MIGRATE_DATABASE_URL",
                    "must name one host for a backup",
                ));
            }
        };
        let port = config.get_ports().first().copied().unwrap_or(5432);
        command
            .env("LC_ALL", "C")
            .env("PGHOST", host)
            .env("PGPORT", port.to_string())
            .env("PGUSER", config.get_user().unwrap_or_default())
            .env("PGDATABASE", config.get_dbname().unwrap_or_default())
            .stdin(Stdio::null())
            .kill_on_drop(true);
        if let Some(password) = config.get_password() {
            command.env("PGPASSWORD", String::from_utf8_lossy(password).into_owned());
        }
        Ok(command)
    }
}

async fn run(mut command: Command) -> Result<()> {
    let told = command
        .output()
        .await
        .map_err(|error| Error::Unavailable(format!("it does not run: {error}")))?;
    if told.status.success() {
        return Ok(());
    }
    Err(Error::Unavailable(
        String::from_utf8_lossy(&told.stderr).trim().to_owned(),
    ))
}
