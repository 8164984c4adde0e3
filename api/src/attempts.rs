//! How often someone may try to sign in: so and so many times a window, by key (an address, an email).

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::problem::Problem;

/// So many keys are remembered. Then those are forgotten whose windows are over, and if none is, those with the fewest
/// attempts; never one that has to wait, or whoever invents enough keys would be free to go on with it. When all have to
/// wait, new keys wait with them: it takes as many attempts as all windows hold, and within one window.
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
        if counts.len() >= KEYS_MAX && !counts.contains_key(key) && !self.make_room(&mut counts) {
            return Err(Problem::too_many(self.window.as_secs() + 1));
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

    /// Forgets who can be forgotten, as many as half of them at once, so that this is not done for each; whether there were
    /// any.
    fn make_room(&self, counts: &mut HashMap<String, (Instant, u32)>) -> bool {
        counts.retain(|_, (since, _)| since.elapsed() < self.window);
        if counts.len() < KEYS_MAX {
            return true;
        }
        let taken = counts.values().map(|(_, count)| *count);
        let mut few: Vec<u32> = taken.filter(|count| *count < self.most).collect();
        if few.is_empty() {
            return false;
        }
        let half = few.len() / 2;
        let (_, least, _) = few.select_nth_unstable(half);
        counts.retain(|_, (_, count)| *count > *least);
        true
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

    /// Attempts that remember as many keys as there is room for, each with one attempt.
    fn full(most: u32) -> Attempts {
        let attempts = Attempts::new(most, Duration::from_secs(600));
        let mut counts = attempts.counts.lock().expect("nobody else");
        let now = Instant::now();
        counts.extend((0..KEYS_MAX).map(|key| (format!("other {key}"), (now, 1))));
        drop(counts);
        attempts
    }

    fn remembered(attempts: &Attempts) -> usize {
        attempts.counts.lock().expect("nobody else").len()
    }

    #[test]
    fn whoever_has_to_wait_is_not_forgotten_for_others() {
        let attempts = Attempts::new(3, Duration::from_secs(600));
        for _ in 0..3 {
            assert!(attempts.take("guessed").is_ok());
        }
        for _ in 0..2 {
            assert!(attempts.take("nearly").is_ok());
        }
        for key in 0..3 * KEYS_MAX {
            assert!(attempts.take(&format!("other {key}")).is_ok());
        }
        assert!(remembered(&attempts) <= KEYS_MAX);
        assert!(attempts.take("guessed").is_err());
        assert!(attempts.take("nearly").is_ok());
        assert!(attempts.take("nearly").is_err(), "nor is how near it was");
    }

    #[test]
    fn when_all_have_to_wait_so_do_new_ones() {
        let attempts = full(1);
        assert!(attempts.take("new").is_err());
        assert!(attempts.take("other 7").is_err());
        attempts.give_back("other 7");
        assert!(attempts.take("new").is_ok(), "there is one to be forgotten");
        assert!(remembered(&attempts) <= KEYS_MAX);
        assert!(attempts.take("other 8").is_err());
    }

    #[test]
    fn a_key_that_is_known_takes_no_room() {
        let attempts = full(2);
        assert!(attempts.take("other 7").is_ok());
        assert_eq!(remembered(&attempts), KEYS_MAX);
        assert!(attempts.take("new").is_ok());
        // The one with most attempts is still known.
        assert!(attempts.take("other 7").is_err());
    }

    #[test]
    fn a_window_ends() {
        let attempts = Attempts::new(1, Duration::ZERO);
        assert!(attempts.take("a").is_ok());
        assert!(attempts.take("a").is_ok());
    }
}
