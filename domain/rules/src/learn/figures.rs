//! What of all that was learned is computed with.

use std::collections::BTreeMap;

use serde::Serialize;

use super::learned::Learned;
use crate::life::Life;
use crate::start::StartRate;
use crate::wear::WearPrior;

/// What of all that was learned is computed with. It has fewer letters than the sheet that it was learned on, so it can be
/// published wherever that could.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures<'a> {
    /// How measured parts wear, by check.
    pub wear: BTreeMap<&'a str, WearPrior>,
    /// How long other parts live, and how measured ones break all of a sudden, by part.
    pub lives: BTreeMap<&'a str, Life>,
    /// How it starts after standing.
    pub start: StartRate,
    /// How often its shear fasteners break, if it has any.
    pub breaks: Option<BreakFigures>,
}

/// How often shear fasteners break: Gamma(alpha, beta_hours) breaks an hour.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct BreakFigures {
    /// Breaks it is worth.
    pub alpha: f64,
    /// Running hours it is worth.
    pub beta_hours: f64,
}

impl Learned {
    /// What is computed with.
    pub fn figures(&self) -> Figures<'_> {
        let wear = self
            .wear
            .iter()
            .map(|(check, it)| (check.as_str(), it.prior));
        let lives = self.lives.iter().map(|(part, it)| (part.as_str(), it.life));
        let breaks = self.breaks.as_ref().map(|breaks| BreakFigures {
            alpha: breaks.alpha,
            beta_hours: breaks.beta_hours,
        });
        Figures {
            wear: wear.collect(),
            lives: lives.collect(),
            start: self.start.rate,
            breaks,
        }
    }
}
