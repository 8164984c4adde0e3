//! What machines of one model have shown: how their parts wore, how long those lived that are not measured, and how they
//! started after standing.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::lives::PartLives;
use super::starts::start_tests;
use super::worn::worn;
use crate::sheet::Sheet;
use crate::start::StartTest;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;
use crate::wear::learned::PartPath;

/// What machines of one model have shown.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Evidence {
    /// Machines.
    pub machines: u64,
    /// Parts that were measured, by the check that measures them.
    pub wear: BTreeMap<String, Vec<PartPath>>,
    /// Lives of parts that have one, by part.
    pub lives: BTreeMap<String, PartLives>,
    /// Starts, each after the days that the machine stood.
    pub starts: Vec<StartTest>,
    /// Running hours since the fasteners' breaks are booked.
    pub hours_since_booked: f64,
}

impl Evidence {
    /// Adds what a machine of that sheet has shown; the breaks of its fasteners are booked since then, if ever. Before
    /// anything was kept of it, its breaks were not booked either.
    pub fn add(
        &mut self,
        sheet: &Sheet,
        clock: &UnitClock<'_>,
        shared: &Shared<'_>,
        booked_since: Option<Timestamp>,
    ) {
        self.machines += 1;
        self.starts.extend(start_tests(clock));
        for (place, part) in sheet.parts.iter().enumerate() {
            if let Some(life) = &part.life {
                let lives = self.lives.entry(part.part.clone()).or_default();
                lives.add(place, life, clock, shared);
            }
            for (check, measure, _) in sheet.wear_checks(&part.part) {
                let take_up = measure.backed_by.is_some();
                let worn = worn(clock, place, take_up, &check.check, shared);
                if !worn.is_empty() {
                    self.wear
                        .entry(check.check.clone())
                        .or_default()
                        .extend(worn);
                }
            }
        }
        if let Some(since) = booked_since {
            let hours = |at| clock.hours_at(at, shared);
            let since = clock.kept_since.map_or(since, |kept| kept.max(since));
            self.hours_since_booked += (hours(shared.as_of) - hours(since)).max(0.0);
        }
    }
}
