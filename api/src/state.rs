//! What all requests share.

use std::sync::{Arc, Mutex, PoisonError, RwLock};
use std::time::{Duration, Instant};

use rimeyard_store::{Database, Tenant, door, person};

use crate::attempts::Attempts;
use crate::people::People;
use crate::problem::Problem;
use crate::settings::Settings;
use crate::token::{Keys, Kind, Subject, new_key};

/// How often the keys are read again at most, when a token names one that is not known.
const RELOAD_EVERY: Duration = Duration::from_secs(2);

/// The database and what is remembered of it.
pub struct State {
    /// The database.
    pub database: Database,
    /// Whether the database may lose what it acknowledged: for trials.
    pub scratch: bool,
    /// Whether a proxy in front tells the client's address.
    pub behind_proxy: bool,
    /// What the people seen lately may do.
    pub people: People,
    /// Sign-ins tried from an address.
    pub by_address: Attempts,
    /// Wrong passwords tried with an email.
    pub by_email: Attempts,
    issuer: String,
    keys: RwLock<Arc<Keys>>,
    reloaded: Mutex<Instant>,
}

impl State {
    /// Reads the signing keys; makes the first when there is none.
    ///
    /// # Errors
    /// Those of the database, and a stored key that cannot be read.
    pub async fn new(database: Database, settings: &Settings) -> rimeyard_store::Result<Self> {
        let keys = door::signing_keys(&database, new_key).await?;
        let keys = Keys::new(settings.issuer.clone(), &keys)?;
        Ok(Self {
            database,
            scratch: settings.scratch_database,
            behind_proxy: settings.behind_proxy,
            people: People::default(),
            by_address: Attempts::new(settings.sign_ins_per_address, Duration::from_secs(60)),
            by_email: Attempts::new(settings.wrong_passwords_per_email, Duration::from_secs(300)),
            issuer: settings.issuer.clone(),
            keys: RwLock::new(Arc::new(keys)),
            reloaded: Mutex::new(Instant::now()),
        })
    }

    /// The keys that sign and verify now.
    pub fn keys(&self) -> Arc<Keys> {
        self.keys
            .read()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Who holds this token, and what they may do.
    ///
    /// # Errors
    /// 401 for a token that is not ours, has expired, or whose person or session is no longer welcome.
    pub async fn authenticate(
        &self,
        kind: Kind,
        token: &str,
    ) -> Result<(Tenant, Subject), Problem> {
        let subject = self.subject(kind, token).await?;
        if let Some(tenant) = self.people.recall(&subject) {
            return Ok((tenant, subject));
        }
        let asked = Instant::now();
        let Subject {
            org_id,
            person_id,
            session,
        } = subject;
        let standing = person::standing(&self.database, org_id, person_id, session).await?;
        let (role, depots) = standing.ok_or_else(refused)?;
        let tenant = Tenant {
            org_id,
            person_id: Some(person_id),
            role,
            depots,
            request_id: None,
        };
        self.people.remember(&subject, asked, tenant.clone());
        Ok((tenant, subject))
    }

    async fn subject(&self, kind: Kind, token: &str) -> Result<Subject, Problem> {
        let keys = self.keys();
        if let Some(subject) = keys.verify(kind, token) {
            return Ok(subject);
        }
        // Another server, or an operator, may have made a key since.
        if keys.is_of_unknown_key(token) && self.may_reload() {
            let keys = door::signing_keys(&self.database, new_key).await?;
            let keys = Arc::new(Keys::new(self.issuer.clone(), &keys)?);
            *self.keys.write().unwrap_or_else(PoisonError::into_inner) = keys.clone();
            return keys.verify(kind, token).ok_or_else(refused);
        }
        Err(refused())
    }

    fn may_reload(&self) -> bool {
        let mut reloaded = self.reloaded.lock().unwrap_or_else(PoisonError::into_inner);
        let may = reloaded.elapsed() >= RELOAD_EVERY;
        if may {
            *reloaded = Instant::now();
        }
        may
    }
}

fn refused() -> Problem {
    Problem::unauthorized(
        "The access token is not valid, or no longer. Refresh it, or sign in again.",
    )
}
