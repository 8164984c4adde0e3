//! What was learned of one model.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::evidence::Evidence;
use super::lives::PartLives;
use crate::life::learned::LearnedLife;
use crate::life::{LearnedBreaks, learn_breaks};
use crate::sheet::Sheet;
use crate::start::{self, LearnedStart, StartTest};
use crate::wear::WearPrior;
use crate::wear::learned::{self as wear, LearnedWear};

/// What a fleet has taught of one model: what is computed with, whose figures these are, and from how much.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Learned {
    /// Machines that were looked at, retired ones too.
    pub machines: u64,
    /// How its measured parts wear, by check.
    pub wear: BTreeMap<String, LearnedWear>,
    /// How long its other parts live, and how measured ones break all of a sudden, by part.
    pub lives: BTreeMap<String, LearnedLife>,
    /// How machines of its kind start after standing.
    pub start: LearnedStart,
    /// How often its shear fasteners break, if it has any.
    pub breaks: Option<LearnedBreaks>,
}

impl Learned {
    /// Of a model that nothing is known of but its sheet.
    pub fn nothing(sheet: &Sheet) -> Self {
        let breaks = sheet.shear_fasteners.as_ref();
        Self::of(
            sheet,
            &Evidence::default(),
            &[],
            breaks.map(|figures| learn_breaks(figures, 0, 0.0)),
        )
    }

    /// From what machines of that sheet have shown; `starts` are those of all machines of its kind.
    pub(super) fn of(
        sheet: &Sheet,
        evidence: &Evidence,
        starts: &[StartTest],
        breaks: Option<LearnedBreaks>,
    ) -> Self {
        let no_lives = PartLives::default();
        let lives = sheet.parts.iter().filter_map(|part| {
            let figures = part.life.as_ref()?;
            let seen = evidence.lives.get(&part.part).unwrap_or(&no_lives);
            Some((part.part.clone(), seen.teach(figures)))
        });
        let checks = sheet
            .parts
            .iter()
            .flat_map(|part| sheet.wear_checks(&part.part));
        let wear = checks.map(|(check, measure, figures)| {
            let parts = evidence.wear.get(&check.check);
            let parts = parts.map_or(&[][..], Vec::as_slice);
            let learned = wear::learn(parts, &WearPrior::of_sheet(measure, figures), measure.unit);
            (check.check.clone(), learned)
        });
        Learned {
            machines: evidence.machines,
            wear: wear.collect(),
            lives: lives.collect(),
            start: start::learn(&sheet.start, starts),
            breaks,
        }
    }
}
