//! The machines of some models, looked at depot by depot.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use super::evidence::Evidence;
use super::learned::Learned;
use crate::facts::DepotFacts;
use crate::life::{LearnedBreaks, learn_breaks};
use crate::sheet::Sheet;
use crate::start::StartTest;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;

/// What the ledgers of parts say of one part number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Booked {
    /// How many were used.
    pub used: u64,
    /// Since when anything of it is booked.
    pub since: Timestamp,
}

/// The machines of some models, looked at depot by depot.
#[derive(Debug, Clone)]
pub struct Fleet {
    /// The present sheets, by model.
    sheets: BTreeMap<Uuid, Sheet>,
    /// What the ledgers say of their shear fasteners, by part number.
    booked: BTreeMap<String, Booked>,
    evidence: BTreeMap<Uuid, Evidence>,
}

impl Fleet {
    /// Nothing looked at yet. Machines of models that have no sheet here are passed over.
    pub fn new(sheets: BTreeMap<Uuid, Sheet>, booked: BTreeMap<String, Booked>) -> Self {
        Fleet {
            sheets,
            booked,
            evidence: BTreeMap::new(),
        }
    }

    /// Adds what a depot's machines have shown by `as_of`.
    pub fn look_at(&mut self, facts: &DepotFacts, as_of: Timestamp) {
        let shared = Shared::of(facts, as_of);
        for unit in &facts.units {
            let Some(sheet) = self.sheets.get(&unit.model) else {
                continue;
            };
            let booked = sheet.fastener_number().and_then(|it| self.booked.get(it));
            let clock = UnitClock::new(unit, sheet, &shared);
            let evidence = self.evidence.entry(unit.model).or_default();
            evidence.add(sheet, &clock, &shared, booked.map(|booked| booked.since));
        }
    }

    /// What it all teaches, by model. Machines of a kind share what is believed of how they start, and machines with the
    /// same shear fastener how often that breaks.
    pub fn teach(&self) -> BTreeMap<Uuid, Learned> {
        let mut starts: BTreeMap<&str, Vec<StartTest>> = BTreeMap::new();
        let mut hours: BTreeMap<&str, f64> = BTreeMap::new();
        let known = || {
            let models = self.evidence.iter();
            models.filter_map(|(model, evidence)| Some((model, self.sheets.get(model)?, evidence)))
        };
        for (_, sheet, evidence) in known() {
            let of_kind = starts.entry(&sheet.kind).or_default();
            of_kind.extend(&evidence.starts);
            if let Some(number) = sheet.fastener_number() {
                *hours.entry(number).or_default() += evidence.hours_since_booked;
            }
        }
        let breaks = |sheet: &Sheet| -> Option<LearnedBreaks> {
            let figures = sheet.shear_fasteners.as_ref()?;
            let number = sheet.fastener_number()?;
            let used = self.booked.get(number).map_or(0, |booked| booked.used);
            let hours = hours.get(number).copied().unwrap_or(0.0);
            Some(learn_breaks(figures, used, hours))
        };
        let lessons = known().map(|(model, sheet, evidence)| {
            let starts = starts
                .get(sheet.kind.as_str())
                .map_or(&[][..], Vec::as_slice);
            (*model, Learned::of(sheet, evidence, starts, breaks(sheet)))
        });
        lessons.collect()
    }
}
