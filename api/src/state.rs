//! What all requests share.

use std::collections::BTreeSet;
use std::sync::{Arc, Mutex, OnceLock, PoisonError, RwLock};
use std::time::{Duration, Instant};

use rimeyard_store::mark::{self, Backlog};
use rimeyard_store::{Database, Depots, Role, Tenant, access_key, boot, door, person};
use uuid::Uuid;

use crate::attempts::Attempts;
use crate::called::PublicAddress;
use crate::metrics::Metrics;
use crate::people::People;
use crate::problem::Problem;
use crate::settings::Settings;
use crate::signed::Admitted;
use crate::token::{Keys, Kind, Subject, new_key};

/// How often the keys are read again: for so long a key that was retired may still be taken.
const RELOAD_EVERY: Duration = Duration::from_secs(5);
/// How often they are at most, when a token names one that is not known.
const RELOAD_AT_MOST_EVERY: Duration = Duration::from_secs(2);
/// For how long it is remembered whether this server can do its work: anyone may ask, and the answer takes statements.
const READY_FOR: Duration = Duration::from_secs(1);
/// Lists of spares that are computed at once: others wait, so that they never take all processors and memory.
const LISTS_AT_ONCE: usize = 2;
/// Names that are no operator's which one shared phone may try in five minutes.
const WRONG_OPERATORS: u32 = 20;
/// So many times as many wrong passwords are taken from all networks together as from one: whoever guesses from one
/// cannot lock a person out elsewhere.
const ELSEWHERE: u32 = 10;

/// The database and what is remembered of it.
pub struct State {
    /// The database.
    pub database: Database,
    /// Whether a proxy in front tells the client's address.
    pub behind_proxy: bool,
    /// What clients call this server, where that is known: from the settings, or once `local` has its port.
    pub public_address: OnceLock<PublicAddress>,
    /// What the people seen lately may do.
    pub people: People,
    /// Sign-ins tried from a network.
    pub by_network: Attempts,
    /// Wrong passwords tried with an email from a network.
    pub by_email_and_network: Attempts,
    /// Wrong passwords tried with an email from anywhere.
    pub by_email: Attempts,
    /// Names that are no operator's, by the session of the phone that tried them.
    pub wrong_operators: Attempts,
    /// What is counted.
    pub metrics: Metrics,
    /// Turns of those who ask for a list of spares.
    pub lists: tokio::sync::Semaphore,
    /// Whether the database may lose what it acknowledged: for trials.
    scratch: bool,
    issuer: String,
    keys: RwLock<Arc<Keys>>,
    reloaded: Mutex<Instant>,
    ready: tokio::sync::Mutex<Option<(Instant, Backlog)>>,
}

impl State {
    /// Reads the signing keys; makes the first when there is none.
    ///
    /// # Errors
    /// Those of the database, and a stored key that cannot be read.
    pub async fn new(database: Database, settings: &Settings) -> rimeyard_store::Result<Self> {
        let keys = door::signing_keys(&database, new_key).await?;
        let keys = Keys::new(settings.issuer.clone(), &keys)?;
        let wrong = settings.wrong_passwords_per_email;
        Ok(Self {
            database,
            scratch: settings.scratch_database,
            behind_proxy: settings.behind_proxy,
            public_address: settings
                .public_address
                .clone()
                .map_or_else(OnceLock::new, OnceLock::from),
            people: People::default(),
            metrics: Metrics::default(),
            lists: tokio::sync::Semaphore::new(LISTS_AT_ONCE),
            by_network: Attempts::new(settings.sign_ins_per_address, Duration::from_secs(60)),
            by_email_and_network: Attempts::new(wrong, Duration::from_secs(300)),
            by_email: Attempts::new(wrong.saturating_mul(ELSEWHERE), Duration::from_secs(300)),
            wrong_operators: Attempts::new(WRONG_OPERATORS, Duration::from_secs(300)),
            issuer: settings.issuer.clone(),
            keys: RwLock::new(Arc::new(keys)),
            reloaded: Mutex::new(Instant::now()),
            ready: tokio::sync::Mutex::default(),
        })
    }

    /// The keys that sign and verify now, as they were a few seconds ago.
    ///
    /// # Errors
    /// Those of the database.
    pub async fn keys(&self) -> rimeyard_store::Result<Arc<Keys>> {
        self.keys_since(RELOAD_EVERY).await
    }

    /// The keys; read again by whoever first asks after `every`.
    async fn keys_since(&self, every: Duration) -> rimeyard_store::Result<Arc<Keys>> {
        if self.may_reload(every) {
            let keys = door::signing_keys(&self.database, new_key).await?;
            let keys = Arc::new(Keys::new(self.issuer.clone(), &keys)?);
            *self.keys.write().unwrap_or_else(PoisonError::into_inner) = keys;
        }
        let keys = self.keys.read().unwrap_or_else(PoisonError::into_inner);
        Ok(keys.clone())
    }

    /// Whether this server can do its work, and how far the workers are behind with theirs; looked at by one request at
    /// a time and then remembered for a second.
    ///
    /// # Errors
    /// [`rimeyard_store::Error::Unavailable`] with what is wrong.
    pub async fn check_ready(&self) -> rimeyard_store::Result<Backlog> {
        let mut checked = self.ready.lock().await;
        if let Some((at, backlog)) = &*checked
            && at.elapsed() < READY_FOR
        {
            return Ok(backlog.clone());
        }
        boot::check(&self.database, self.scratch).await?;
        let backlog = mark::backlog(&self.database).await?;
        *checked = Some((Instant::now(), backlog.clone()));
        Ok(backlog)
    }

    /// Who holds this token, or this key of a depot system, and what they may do.
    ///
    /// # Errors
    /// 401 for a token that is not ours, has expired, or whose person or session is no longer welcome.
    pub async fn authenticate(&self, kind: Kind, token: &str) -> Result<Admitted, Problem> {
        if kind == Kind::Access && token.starts_with(access_key::PREFIX) {
            return self.authenticate_key(token).await;
        }
        let subject = self.subject(kind, token).await?;
        let remembered = subject;
        if let Some(admitted) = self.people.people().recall(&remembered) {
            return Ok(admitted);
        }
        let asked = Instant::now();
        let Subject {
            org_id,
            person_id,
            session,
        } = subject;
        let standing = person::standing(&self.database, org_id, person_id, session).await?;
        let admitted = admitted(org_id, person_id, session, standing)?;
        let people = self.people.people();
        people.remember(remembered, asked, admitted.clone());
        Ok(admitted)
    }

    async fn authenticate_key(&self, secret: &str) -> Result<Admitted, Problem> {
        let digest = access_key::digest(secret);
        if let Some(admitted) = self.people.keys().recall(&digest) {
            return Ok(admitted);
        }
        let asked = Instant::now();
        let holder = access_key::holder(&self.database, secret).await?;
        let holder = holder.ok_or_else(refused)?;
        let (org_id, person_id) = (holder.org_id, holder.person_id);
        let standing = person::standing_of_key(&self.database, org_id, person_id).await?;
        let admitted = Admitted {
            may_write: holder.may_write,
            ..admitted(org_id, person_id, holder.key_id, standing)?
        };
        let keys = self.people.keys();
        keys.remember(digest, asked, admitted.clone());
        Ok(admitted)
    }

    async fn subject(&self, kind: Kind, token: &str) -> Result<Subject, Problem> {
        let keys = self.keys().await?;
        if let Some(subject) = keys.verify(kind, token) {
            return Ok(subject);
        }
        // Another server, or `rimeyard rotate-keys`, may have made a key since.
        if keys.is_of_unknown_key(kind, token) {
            let keys = self.keys_since(RELOAD_AT_MOST_EVERY).await?;
            return keys.verify(kind, token).ok_or_else(refused);
        }
        Err(refused())
    }

    fn may_reload(&self, every: Duration) -> bool {
        let mut reloaded = self.reloaded.lock().unwrap_or_else(PoisonError::into_inner);
        let may = reloaded.elapsed() >= every;
        if may {
            *reloaded = Instant::now();
        }
        may
    }
}

fn admitted(
    org_id: Uuid,
    person_id: Uuid,
    session: Uuid,
    standing: Option<(Role, Depots)>,
) -> Result<Admitted, Problem> {
    let (role, depots) = standing.ok_or_else(refused)?;
    let tenant = Tenant {
        org_id,
        person_id: Some(person_id),
        role,
        depots,
        request_id: None,
        session: Some(session),
    };
    Ok(Admitted {
        tenant,
        session,
        may_write: BTreeSet::new(),
    })
}

fn refused() -> Problem {
    Problem::unauthorized(
        "The access token is not valid, or no longer. Refresh it, or sign in again.",
    )
}
