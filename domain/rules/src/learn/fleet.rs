//! The machines of some models, looked at depot by depot.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use super::evidence::Evidence;
use super::fasteners::Fasteners;
use super::learned::Learned;
use crate::facts::DepotFacts;
use crate::life::{LearnedBreaks, learn_breaks};
use crate::sheet::Sheet;
use crate::start::StartTest;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;

/// The machines of some models, looked at depot by depot.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// The present sheets, by model.
    sheets: BTreeMap<Uuid, Sheet>,
    /// What the ledgers say of their shear fasteners.
    fasteners: Fasteners,
    evidence: BTreeMap<Uuid, Evidence>,
    /// Breaks at the depots that were looked at, by the part that replaces the fastener.
    breaks: BTreeMap<Uuid, u64>,
}

impl Fleet {
    /// Nothing looked at yet. Machines of models that have no sheet here are passed over.
    pub fn new(sheets: BTreeMap<Uuid, Sheet>, fasteners: Fasteners) -> Self {
        Fleet {
            sheets,
            fasteners,
            evidence: BTreeMap::new(),
            breaks: BTreeMap::new(),
        }
    }

    /// Adds what a depot's machines have shown by `as_of`; those that are `retired`, until then.
    pub fn look_at(
        &mut self,
        facts: &DepotFacts,
        retired: &BTreeMap<Uuid, Timestamp>,
        as_of: Timestamp,
    ) {
        let in_use = Shared::of(facts, as_of);
        let mut breaks: BTreeMap<Uuid, u64> = BTreeMap::new();
        for unit in &facts.units {
            let Some(sheet) = self.sheets.get(&unit.model) else {
                continue;
            };
            // Nothing ages or runs after its machine was retired.
            let until = retired
                .get(&unit.id)
                .map(|at| Shared::of(facts, as_of.min(*at)));
            let shared = until.as_ref().unwrap_or(&in_use);
            let booked = self.fasteners.at(facts.id, unit.model);
            breaks.extend(booked.map(|(part, booked)| (part, booked.used)));
            let clock = UnitClock::new(unit, sheet, shared);
            let evidence = self.evidence.entry(unit.model).or_default();
            let since = booked.map(|(_, booked)| booked.since);
            evidence.add(sheet, &clock, shared, since);
        }
        for (part, used) in breaks {
            *self.breaks.entry(part).or_default() += used;
        }
    }

    /// What it all teaches, by model. Machines of a kind share what is believed of how they start, and machines with the
    /// same shear fastener how often that breaks.
    pub fn teach(&self) -> BTreeMap<Uuid, Learned> {
        let mut starts: BTreeMap<&str, Vec<StartTest>> = BTreeMap::new();
        let mut hours: BTreeMap<Uuid, f64> = BTreeMap::new();
        let known = || {
            let models = self.evidence.iter();
            models.filter_map(|(model, evidence)| Some((model, self.sheets.get(model)?, evidence)))
        };
        for (model, sheet, evidence) in known() {
            let of_kind = starts.entry(&sheet.kind).or_default();
            of_kind.extend(&evidence.starts);
            if let Some(part) = self.fasteners.parts.get(model) {
                *hours.entry(*part).or_default() += evidence.hours_since_booked;
            }
        }
        let breaks = |model: &Uuid, sheet: &Sheet| -> Option<LearnedBreaks> {
            let figures = sheet.shear_fasteners.as_ref()?;
            let part = self.fasteners.parts.get(model);
            let breaks = part.and_then(|part| self.breaks.get(part)).copied();
            let hours = part.and_then(|part| hours.get(part)).copied();
            Some(learn_breaks(
                figures,
                breaks.unwrap_or(0),
                hours.unwrap_or(0.0),
            ))
        };
        let lessons = known().map(|(model, sheet, evidence)| {
            let starts = starts
                .get(sheet.kind.as_str())
                .map_or(&[][..], Vec::as_slice);
            let breaks = breaks(model, sheet);
            (*model, Learned::of(sheet, evidence, starts, breaks))
        });
        lessons.collect()
    }
}
