//! As whom Postgres runs: it refuses root.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::{Error, Result};

/// Ourselves, or an unprivileged user when we are root.
pub(super) struct User {
    dropped_to: Option<Account>,
}

struct Account {
    name: String,
    uid: u32,
    gid: u32,
}

impl User {
    /// For root: the owner of a cluster that is there already, else `postgres`, else `nobody`.
    pub(super) fn for_cluster(folder: &Path) -> Result<User> {
        let owner = fs::metadata(folder.join("data")).ok();
        let ourselves = rustix::process::geteuid();
        if !ourselves.is_root() {
            return match owner {
                Some(data) if data.uid() != ourselves.as_raw() => Err(Error::Unavailable(format!(
                    "the cluster in {} belongs to another user (number {}); start as that user, or choose another folder with --data DIR",
                    folder.display(),
                    data.uid()
                ))),
                _ => Ok(User { dropped_to: None }),
            };
        }
        let accounts = fs::read_to_string("/etc/passwd").unwrap_or_default();
        let account = match owner.filter(|data| data.uid() != 0) {
            Some(data) => Some(Account {
                name: format!("number {}", data.uid()),
                uid: data.uid(),
                gid: data.gid(),
            }),
            None => ["postgres", "nobody"]
                .into_iter()
                .find_map(|name| find(&accounts, name)),
        };
        let account = account.ok_or_else(|| {
            Error::Unavailable(
                "Postgres does not run as root, and neither a user postgres nor nobody exists; add one, or start as an ordinary user"
                    .to_owned(),
            )
        })?;
        Ok(User {
            dropped_to: Some(account),
        })
    }

    /// A program run as this user, in a folder it can read, without settings of another Postgres.
    pub(super) fn command(&self, program: &Path, folder: &Path) -> Command {
        let mut command = Command::new(program);
        command
            .current_dir(folder)
            .stdin(Stdio::null())
            .env("LC_ALL", "C");
        for (name, _) in
            std::env::vars_os().filter(|(name, _)| name.to_string_lossy().starts_with("PG"))
        {
            command.env_remove(name);
        }
        if let Some(account) = &self.dropped_to {
            command.uid(account.uid).gid(account.gid);
        }
        command
    }

    /// Gives a file or folder to this user.
    pub(super) fn own(&self, path: &Path) -> std::io::Result<()> {
        match &self.dropped_to {
            Some(account) => std::os::unix::fs::chown(path, Some(account.uid), Some(account.gid)),
            None => Ok(()),
        }
    }

    /// Whether this user can enter the folder, and all above it.
    pub(super) fn check_reach(&self, folder: &Path) -> Result<()> {
        let Some(account) = &self.dropped_to else {
            return Ok(());
        };
        let mut above: Vec<PathBuf> = folder.ancestors().map(Path::to_path_buf).collect();
        above.reverse();
        for part in above {
            let entered = self
                .command(Path::new("/bin/sh"), Path::new("/"))
                .args(["-c", "cd -- \"$1\"", "sh"])
                .arg(&part)
                .stderr(Stdio::null())
                .status()
                .map_err(|error| Error::Unavailable(format!("/bin/sh does not run: {error}")))?;
            if !entered.success() {
                return Err(Error::Unavailable(format!(
                    "Postgres does not run as root but as the user {}, who cannot enter {}; choose a folder elsewhere \
                     with --data DIR (for example {}), or let that user pass with: chmod o+x {}",
                    account.name,
                    part.display(),
                    super::default_folder().display(),
                    part.display()
                )));
            }
        }
        Ok(())
    }
}

/// A user by name, from the text of /etc/passwd: name:password:uid:gid:...
fn find(accounts: &str, name: &str) -> Option<Account> {
    let line = accounts
        .lines()
        .find(|line| line.split(':').next() == Some(name))?;
    let mut fields = line.split(':').skip(2);
    let uid = fields.next()?.parse().ok()?;
    let gid = fields.next()?.parse().ok()?;
    Some(Account {
        name: name.to_owned(),
        uid,
        gid,
    })
}
