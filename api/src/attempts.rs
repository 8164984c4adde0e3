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

    /// Takes one more, if that is allowed. It counts at once, so that many at the same moment cannot slip by together.
    /// Keys are short: whoever calls sees to it.
    ///
    /// # Errors
    /// 429 with the seconds until the window ends.
    pub fn take(&self, key: &str) -> Result<(), Problem> {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        if counts.len() >= KEYS_MAX {
            counts.retain(|_, (since, _)| since.elapsed() < self.window);
            if counts.len() >= KEYS_MAX {
                counts.clear();
            }
        }
        let entry = counts.entry(key.to_owned()).or_insert((Instant::now(), 0));
        let elapsed = entry.0.elapsed();
        if elapsed >= self.window {
            *entry = (Instant::now(), 0);
        } else if entry.1 >= self.most {
            return Err(Problem::too_many((self.window - elapsed).as_secs() + 1));
        }
        entry.1 += 1;
        Ok(())
    }

    /// Gives back one that was taken: it went well and does not count.
    pub fn give_back(&self, key: &str) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, count)) = counts.get_mut(key) {
            *count = count.saturating_sub(1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_key_has_its_own_window() {
        let attempts = Attempts::new(2, Duration::from_secs(60));
        for _ in 0..2 {
            assert!(attempts.take("a").is_ok());
        }
        assert!(attempts.take("a").is_err());
        assert!(attempts.take("b").is_ok());
        attempts.give_back("a");
        assert!(attempts.take("a").is_ok());
        assert!(attempts.take("a").is_err());
    }

    #[test]
    fn a_window_ends() {
        let attempts = Attempts::new(1, Duration::ZERO);
        assert!(attempts.take("a").is_ok());
        assert!(attempts.take("a").is_ok());
    }
}
