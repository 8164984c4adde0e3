//! A unit's factors were all that can be done for it done.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use crate::depot::{clocks_of, storm_hours};
use crate::facts::{DepotFacts, UnitFacts};
use crate::sheet::Sheet;
use crate::unit::Shared;
use crate::unit::model::models;
use crate::unit::standing::Factor;
use crate::what_if::repaired::{add_meter_reading, as_new, put_right, renew};

/// Each unit's factors once its parts that have a job are new, it was started and inspected, and its spares are aboard. Rates and
/// lives are learned from what really happened, and each runs as long in the storm as it does now.
pub fn factors_after(facts: &DepotFacts, as_of: Timestamp) -> BTreeMap<Uuid, Vec<Factor>> {
    let real = Shared::of(facts, as_of);
    let real_clocks = clocks_of(&facts.units, &real);
    let models = models(&real, &real_clocks);
    let hours = storm_hours(&real);
    let mut changed = facts.clone();
    for unit in &mut changed.units {
        if let Some(sheet) = facts.sheets.get(&unit.model) {
            do_everything(unit, sheet, &real);
        }
    }
    let shared = Shared::of(&changed, as_of);
    let clocks = clocks_of(&changed.units, &shared);
    let units = changed.units.iter().zip(&clocks).zip(hours);
    let factors = units.filter_map(|((unit, clock), hours)| {
        let (clock, model) = (clock.as_ref()?, models.get(&unit.model)?);
        let state = crate::unit::evaluate(&shared, unit, clock, model, hours);
        Some((unit.id, state.inputs.factors))
    });
    factors.collect()
}

fn do_everything(unit: &mut UnitFacts, sheet: &Sheet, real: &Shared<'_>) {
    let before = unit.clone();
    let paths = unit.parts.len();
    put_right(unit, sheet, real);
    let metered = unit.parts.len() > paths;
    let parts = sheet.parts.iter().filter(|part| part.job.is_some());
    let rigging = unit.rigging;
    for part in parts.filter(|part| rigging.concerned(part.only_for)) {
        renew(unit, &part.part, real.as_of);
    }
    if !metered && unit.parts.len() > paths {
        add_meter_reading(unit, &before, sheet, real);
    }
    let spares = sheet.shear_fasteners.as_ref();
    let spares = spares.map(|shear| (&shear.spares_check, f64::from(shear.carried.value)));
    for check in &sheet.checks {
        let of_new_part = check.part.as_ref().is_some_and(|part| {
            let spec = sheet.part(part);
            spec.is_some_and(|spec| spec.job.is_some())
        });
        let place = unit.latest.iter().position(|one| one.check == check.check);
        let mut found = as_new(check, real.as_of);
        match spares.filter(|(spares, _)| **spares == check.check) {
            Some((_, carried)) => {
                found.value = found
                    .value
                    .map_or(Some(carried), |new| Some(new.max(carried)))
            }
            None if !of_new_part => continue,
            None => {}
        }
        match place {
            Some(place) => unit.latest[place] = found,
            None => unit.latest.push(found),
        }
    }
}
