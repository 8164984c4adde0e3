//! What each person may do, remembered for a few seconds: a token says only who someone is, and asking the database at
//! every request would double its cost.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use rimeyard_store::Tenant;

use crate::token::Subject;

/// Half of the 5 s within which a right that is taken away must be gone.
const LIFE: Duration = Duration::from_millis(2_500);
/// So many are remembered; then all are forgotten, which costs one look-up each.
const PEOPLE_MAX: usize = 50_000;

/// The people seen lately.
#[derive(Default)]
pub struct People(Mutex<HashMap<Subject, (Instant, Tenant)>>);

impl People {
    /// What was found at most a few seconds ago.
    pub fn recall(&self, subject: &Subject) -> Option<Tenant> {
        let people = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (at, tenant) = people.get(subject)?;
        (at.elapsed() < LIFE).then(|| tenant.clone())
    }

    /// Remembers what was asked for `asked` ago.
    pub fn remember(&self, subject: &Subject, asked: Instant, tenant: Tenant) {
        let mut people = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if people.len() >= PEOPLE_MAX {
            people.clear();
        }
        people.insert(*subject, (asked, tenant));
    }

    /// Forgets everyone: something was changed here, and whoever changed it must see it at once.
    pub fn forget_all(&self) {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clear();
    }
}
