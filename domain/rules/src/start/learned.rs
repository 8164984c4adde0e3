//! What the starts of all machines of a kind teach (section 6): those within two days of a run how likely it is to start
//! at once, those after longer standing how fast it goes dead.

use serde::{Deserialize, Serialize};

use super::{AT_ONCE_DAYS, StartRate, StartTest};
use crate::because::so_many;
use crate::learn::LearnedFrom;
use crate::sheet::StartFigures;

/// The starts that were learned from.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StartsSeen {
    /// Starts tried within two days of a run.
    pub at_once: u64,
    /// Those of them that failed.
    pub failed_at_once: u64,
    /// Starts tried after longer standing.
    pub stood: u64,
    /// Those of them that failed.
    pub failed_after_standing: u64,
}

impl StartsSeen {
    /// Of these starts.
    pub fn of(tests: &[StartTest]) -> Self {
        let mut seen = StartsSeen::default();
        for test in tests {
            let failed = u64::from(!test.started);
            if test.at_once() {
                seen.at_once += 1;
                seen.failed_at_once += failed;
            } else {
                seen.stood += 1;
                seen.failed_after_standing += failed;
            }
        }
        seen
    }
}

/// What is believed of how a kind of machine starts, and what that stands on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LearnedStart {
    /// What to compute with.
    pub rate: StartRate,
    /// Whose figures these are.
    pub from: LearnedFrom,
    /// Why, in words and numbers.
    pub because: String,
    /// From how much.
    pub seen: StartsSeen,
}

/// What the starts of a kind teach, each with the days since the machine's last proven run, where the sheet says `sheet`.
/// Of attempts one after the other that fail only the first is a test: the machine was dead then already.
pub fn learn(sheet: &StartFigures, tests: &[StartTest]) -> LearnedStart {
    let seen = StartsSeen::of(tests);
    let (tried, good) = (
        seen.at_once as f64,
        (seen.at_once - seen.failed_at_once) as f64,
    );
    // The mean of the Beta distribution that the sheet's chance and its weight make, and those starts.
    let chance = sheet.at_once.value;
    let at_once = chance + (good - tried * chance) / (sheet.at_once_weight.value + tried);
    let prior = StartRate {
        alpha: sheet.alpha.value,
        beta: sheet.beta.value,
        shape: sheet.shape.value,
        at_once: at_once.clamp(0.0, 1.0),
    };
    let stood: Vec<StartTest> = tests
        .iter()
        .copied()
        .filter(|test| !test.at_once())
        .collect();
    let (from, because) = if tests.is_empty() {
        (
            LearnedFrom::Sheet,
            "the sheet's figures: no start on record".to_owned(),
        )
    } else {
        (
            LearnedFrom::Fleet,
            format!("{}; {}", after_standing(&seen), soon(&seen)),
        )
    };
    LearnedStart {
        rate: prior.learn(&stood),
        from,
        because,
        seen,
    }
}

impl StartTest {
    /// Whether it tells of starting at once, and not of going dead.
    pub fn at_once(&self) -> bool {
        self.days <= AT_ONCE_DAYS
    }
}

fn after_standing(seen: &StartsSeen) -> String {
    match seen.stood {
        0 => "how fast it goes dead is the sheet's: no start after more than two days of standing on record".to_owned(),
        stood => format!(
            "{} of {} after more than two days of standing failed",
            seen.failed_after_standing,
            so_many(stood, "start")
        ),
    }
}

fn soon(seen: &StartsSeen) -> String {
    match seen.at_once {
        0 => "the chance of starting at once is the sheet's: no start within two days of a run on record".to_owned(),
        tried => format!("{} of {tried} within two days of a run", seen.failed_at_once),
    }
}

#[cfg(test)]
mod tests;
