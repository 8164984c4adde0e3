//! Passwords: argon2id with 19 MiB, 2 passes, 1 lane (OWASP Password Storage Cheat Sheet, the first of its
//! equivalent settings; RFC 9106).

use std::fmt;
use std::sync::OnceLock;

use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, Version};
use serde::{Deserialize, Serialize, Serializer};
use tokio::sync::Semaphore;

use crate::{Error, Result, fields};

/// So many hashes are worked on at once: each takes its 19 MiB and a core.
static WORKERS: Semaphore = Semaphore::const_new(4);
/// Between what NIST SP 800-63B-4 wants at least of a password beside a second factor (8) and of one alone (15); long
/// ones are allowed.
const CHARACTERS: std::ops::RangeInclusive<usize> = 12..=200;

/// A password as it was typed. It is read and never shown: not logged, not answered.
#[derive(Clone, Deserialize)]
#[serde(transparent)]
pub struct Password(String);

impl Password {
    /// What was typed.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl Serialize for Password {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_none()
    }
}

impl fmt::Debug for Password {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Password(..)")
    }
}

/// A password as it is stored: what it was cannot be told from it.
#[derive(Clone)]
pub struct Hashed(pub(crate) String);

fn argon2() -> Argon2<'static> {
    let params = Params::new(19 * 1024, 2, 1, None).expect("within argon2's limits");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

/// Hashes a new password, on a thread of its own.
///
/// # Errors
/// [`Error::Invalid`] (`password`) unless it has 12 to 200 characters.
pub async fn hash(password: &str) -> Result<Hashed> {
    let characters = password.chars().count();
    if !CHARACTERS.contains(&characters) {
        let (least, most) = CHARACTERS.into_inner();
        return Err(Error::invalid(
            "password",
            format!("must have {least} to {most} characters; it has {characters}"),
        ));
    }
    let password = password.to_owned();
    work(move || hash_here(&password)).await?
}

/// Whether the password is the one that was hashed. Without a hash (nobody has that address) the same work is done
/// for nothing, so that the time taken does not tell.
pub(crate) async fn matches(password: &str, stored: Option<String>) -> Result<bool> {
    if !CHARACTERS.contains(&password.chars().count()) {
        // Nobody has such a password, and it need not be hashed to know.
        return Ok(false);
    }
    let password = password.to_owned();
    work(move || {
        check(stored.as_deref(), |hash| {
            let hash = PasswordHash::new(hash).map_err(Error::internal)?;
            Ok(argon2().verify_password(password.as_bytes(), &hash).is_ok())
        })
    })
    .await?
}

/// What `verify` says of the stored hash. Without one it is asked of another, made just so, and what it says does not count.
fn check(stored: Option<&str>, verify: impl FnOnce(&str) -> Result<bool>) -> Result<bool> {
    static NOBODY: OnceLock<String> = OnceLock::new();
    let nobody =
        || NOBODY.get_or_init(|| hash_here("nobody").map(|hash| hash.0).unwrap_or_default());
    let matches = verify(stored.unwrap_or_else(|| nobody()))?;
    Ok(matches && stored.is_some())
}

fn hash_here(password: &str) -> Result<Hashed> {
    let hash: PasswordHash = argon2()
        .hash_password(password.as_bytes())
        .map_err(Error::internal)?;
    Ok(Hashed(hash.to_string()))
}

async fn work<T: Send + 'static>(task: impl FnOnce() -> T + Send + 'static) -> Result<T> {
    let _permit = WORKERS.acquire().await.map_err(Error::internal)?;
    tokio::task::spawn_blocking(task)
        .await
        .map_err(Error::internal)
}

/// An address in the form it is stored in: lower case, no surrounding blanks.
///
/// # Errors
/// [`Error::Invalid`] (`email`) unless it has an @ and 3 to 254 characters (RFC 5321).
pub fn address(email: &str) -> Result<String> {
    let email = email.trim().to_lowercase();
    fields::line("email", &email, 3..=254)?;
    let halves = email
        .split_once('@')
        .filter(|(local, domain)| !local.is_empty() && !domain.is_empty());
    if halves.is_none() || email.contains(char::is_whitespace) {
        return Err(Error::invalid(
            "email",
            "is not an email address; write it like name@example.org",
        ));
    }
    Ok(email)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What of a hash decides how long it takes to check: the algorithm, its version and parameters, and lengths.
    fn work_of(hash: &str) -> String {
        let [_, algorithm, version, params, salt, output] = hash.split('$').collect::<Vec<_>>()[..]
        else {
            panic!("no PHC string: {hash}")
        };
        format!(
            "{algorithm} {version} {params} {} {}",
            salt.len(),
            output.len()
        )
    }

    #[test]
    fn nobodys_password_is_checked_as_somebodys_is() {
        let known = hash_here("shovel the ramp").expect("hashed").0;
        let asked = |stored: Option<&str>, says: bool| {
            let mut asked = Vec::new();
            let matches = check(stored, |hash| {
                asked.push(work_of(hash));
                Ok(says)
            });
            (matches.expect("checked"), asked)
        };
        let work = vec![work_of(&known)];
        assert_eq!(asked(Some(&known), true), (true, work.clone()));
        assert_eq!(asked(Some(&known), false), (false, work.clone()));
        // Whatever is found of it, and as often as somebody tries.
        for says in [true, false, true] {
            assert_eq!(asked(None, says), (false, work.clone()));
        }
    }
}
