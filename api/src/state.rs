//! What all requests share.

use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::{Duration, Instant};

use rimeyard_store::{Database, Tenant, standing};

use crate::people::People;
use crate::problem::Problem;
use crate::token::{KeyPair, Keys, Subject};

/// How often the keys are read again at most, when a token names one that is not known.
const RELOAD_EVERY: Duration = Duration::from_secs(2);

/// The database and what is remembered of it.
pub struct State {
    /// The database.
    pub database: Database,
    /// Whether the database may lose what it acknowledged: for tests.
    pub scratch: bool,
    /// What the people seen lately may do.
    pub people: People,
    issuer: String,
    keys: RwLock<Arc<Keys>>,
    reloaded: Mutex<Instant>,
}

impl State {
    /// The keys that sign and verify now.
    pub fn keys(&self) -> Arc<Keys> {
        self.keys
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Who holds this access token, and what they may do.
    ///
    /// # Errors
    /// 401 for a token that is not ours, has expired, or whose person or sign-in is no longer welcome.
    pub async fn authenticate(&self, token: &str) -> Result<Tenant, Problem> {
        let subject = self.subject(token).await?;
        if let Some(tenant) = self.people.recall(&subject) {
            return Ok(tenant);
        }
        let asked = Instant::now();
        let standing =
            standing::standing(&self.database, subject.org_id, subject.person_id).await?;
        let (role, depots) = standing.ok_or_else(refused)?;
        let tenant = Tenant {
            org_id: subject.org_id,
            person_id: Some(subject.person_id),
            role,
            depots,
            request_id: None,
        };
        self.people.remember(&subject, asked, tenant.clone());
        Ok(tenant)
    }

    async fn subject(&self, token: &str) -> Result<Subject, Problem> {
        let keys = self.keys();
        keys.verify(token).ok_or_else(refused)
    }
}

fn refused() -> Problem {
    Problem::unauthorized(
        "The access token is not valid, or no longer. Refresh it, or sign in again.",
    )
}
