//! What was sent, held against what is impossible in itself.

use std::collections::BTreeMap;

use jiff::Timestamp;
use uuid::Uuid;

use super::{Inspection, JudgedReading, NewInspection};
use crate::doubt::Said;
use crate::feed::Write;
use crate::machine::{Machine, named};
use crate::{Error, Result, clock, fields};

/// The most readings one inspection may hold.
pub const READINGS_MAX: usize = 200;
/// The most bytes of notes one inspection may carry in all: it must fit into one document of the feed.
const NOTES_BYTES_MAX: usize = 24 * 1024;

/// The inspections as far as they stand without their readings.
pub(super) struct Draft<'a> {
    pub(super) received_at: Timestamp,
    pub(super) inspections: Vec<Inspection<JudgedReading>>,
    pub(super) said: Vec<Said<'a>>,
}

impl<'a> Draft<'a> {
    pub(super) fn of(
        tx: &Write<'_>,
        new: &[NewInspection],
        machines: &'a BTreeMap<Uuid, Machine>,
    ) -> Result<Self> {
        let (received_at, performed_by) = (clock::now(), tx.person_id()?);
        let mut draft = Draft {
            received_at,
            inspections: Vec::new(),
            said: Vec::new(),
        };
        for (index, new) in new.iter().enumerate() {
            let at = |field: &str| format!("[{index}].{field}");
            check(new, at)?;
            let machine = named(tx, machines, new.unit_id, &at("unit_id"))?;
            let performed_at = fields::instant(&at("performed_at"), new.performed_at)?;
            draft.said.push(Said {
                machine,
                at: performed_at,
                run_hours: new.run_hours,
                estimated: false,
                meter_replaced: false,
            });
            draft.inspections.push(Inspection {
                id: fields::id(new.id).map_err(|error| error.within(&format!("[{index}]")))?,
                unit_id: new.unit_id,
                depot_id: machine.depot_id,
                kind: new.kind,
                performed_at,
                received_at,
                performed_by,
                run_hours: new.run_hours,
                model_id: machine.model_id,
                sheet_version: machine.sheet_version,
                checklist_id: machine.checklist_id,
                checklist_version: machine.checklist_version,
                corrects: new.corrects,
                corrected_by: None,
                note: new.note.clone(),
                flags: Vec::new(),
                readings: Vec::new(),
                rev: 1,
            });
        }
        Ok(draft)
    }
}

/// What is impossible in itself; each reading is judged for itself later.
pub(crate) fn check(new: &NewInspection, at: impl Fn(&str) -> String) -> Result<()> {
    fields::optional_number(&at("run_hours"), new.run_hours, fields::RUN_HOURS)?;
    fields::count(&at("readings"), &new.readings, READINGS_MAX)?;
    if let Some(note) = &new.note {
        fields::lines(&at("note"), note, 0..=2_000)?;
    }
    let notes = new
        .readings
        .iter()
        .filter_map(|reading| reading.note.as_ref());
    let bytes = notes.chain(&new.note).map(String::len).sum::<usize>();
    if bytes > NOTES_BYTES_MAX {
        return Err(Error::invalid(
            at("readings"),
            format!(
                "carry {bytes} bytes of notes; an inspection holds at most {NOTES_BYTES_MAX}, so shorten them"
            ),
        ));
    }
    for (place, reading) in new.readings.iter().enumerate() {
        if let Some(note) = &reading.note {
            fields::lines(&at(&format!("readings[{place}].note")), note, 0..=2_000)?;
        }
    }
    Ok(())
}
