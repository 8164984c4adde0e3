//! How often someone may try to sign in: so and so many times a window, by key (an address, an email).

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::problem::Problem;

/// So many keys are remembered; then the windows that are over are forgotten, and if none is, all are.
const KEYS_MAX: usize = 100_000;

/// Counts attempts by key in windows of fixed length.
pub struct Attempts {
    most: u32,
    window: Duration,
    counts: Mutex<HashMap<String, (Instant, u32)>>,
}

impl Attempts {
    /// At most `most` in each `window`.
    pub fn new(most: u32, window: Duration) -> Self {
        Self {
            most,
            window,
            counts: Mutex::default(),
        }
    }

    /// Whether one more is allowed; it is not counted by asking.
    ///
    /// # Errors
    /// 429 with the seconds until the window ends.
    pub fn check(&self, key: &str) -> Result<(), Problem> {
        let counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        match counts.get(key) {
            Some((since, count)) if *count >= self.most && since.elapsed() < self.window => Err(
                Problem::too_many((self.window - since.elapsed()).as_secs() + 1),
            ),
            _ => Ok(()),
        }
    }

    /// Counts one.
    pub fn count(&self, key: &str) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        if counts.len() >= KEYS_MAX {
            counts.retain(|_, (since, _)| since.elapsed() < self.window);
            if counts.len() >= KEYS_MAX {
                counts.clear();
            }
        }
        let entry = counts.entry(key.to_owned()).or_insert((Instant::now(), 0));
        if entry.0.elapsed() >= self.window {
            *entry = (Instant::now(), 0);
        }
        entry.1 += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_key_has_its_own_window() {
        let attempts = Attempts::new(2, Duration::from_secs(60));
        for _ in 0..2 {
            assert!(attempts.check("a").is_ok());
            attempts.count("a");
        }
        assert!(attempts.check("a").is_err());
        assert!(attempts.check("b").is_ok());
    }
}
