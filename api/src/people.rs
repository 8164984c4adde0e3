//! What each person may do, remembered for a few seconds: a token says only who someone is, and asking the database at
//! every request would double its cost.

use std::collections::HashMap;
use std::hash::Hash;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::signed::Admitted;
use crate::token::Subject;

/// Half of the 5 s within which a right that is taken away must be gone.
const LIFE: Duration = Duration::from_millis(2_500);
/// So many are remembered; then all are forgotten, which costs one look-up each.
const PEOPLE_MAX: usize = 50_000;

/// Those seen lately: people in their sessions, and keys by their digests.
#[derive(Default)]
pub struct People {
    people: Remembered<Subject>,
    keys: Remembered<[u8; 32]>,
}

impl People {
    /// People, by themselves and their session.
    pub fn people(&self) -> &Remembered<Subject> {
        &self.people
    }

    /// Depot systems, by the digest of the key they show.
    pub fn keys(&self) -> &Remembered<[u8; 32]> {
        &self.keys
    }

    /// Forgets everyone: something was changed here, and whoever changed it must see it at once.
    pub fn forget_all(&self) {
        self.people.forget_all();
        self.keys.forget_all();
    }
}

/// What was found, by what it was asked for with.
pub struct Remembered<K>(Mutex<HashMap<K, (Instant, Admitted)>>);

impl<K> Default for Remembered<K> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

impl<K: Eq + Hash> Remembered<K> {
    /// What was found at most a few seconds ago.
    pub fn recall(&self, key: &K) -> Option<Admitted> {
        let people = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let (at, admitted) = people.get(key)?;
        (at.elapsed() < LIFE).then(|| admitted.clone())
    }

    /// Remembers what was asked for at `asked`.
    pub fn remember(&self, key: K, asked: Instant, admitted: Admitted) {
        let mut people = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if people.len() >= PEOPLE_MAX {
            people.clear();
        }
        people.insert(key, (asked, admitted));
    }

    fn forget_all(&self) {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clear();
    }
}
