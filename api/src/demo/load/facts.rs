//! What the plan says, in the store's words.

use rimeyard_rules::verdict::ReadingInput;
use rimeyard_store::fitted_part::NewFitting;
use rimeyard_store::inspection::{NewInspection, NewReading};
use rimeyard_store::limited_use::NewLimitedUse;
use rimeyard_store::meter_reading::NewMeterReading;
use rimeyard_store::task_done::NewTaskDone;
use rimeyard_store::unit::NewUnit;
use uuid::Uuid;

use crate::demo::plan::{Inspection, LimitedUse, Machine};

pub(super) fn new_unit(machine: &Machine, depot_id: Uuid) -> NewUnit {
    NewUnit {
        id: Some(machine.id),
        tag: machine.tag.clone(),
        depot_id,
        model_id: machine.model,
        rigging: machine.rigging,
        away: machine.away.map(str::to_owned),
        acquired_on: machine.acquired_on,
        // The agency buys new; where the papers are lost nobody knows what was on a machine that day.
        came_new: machine.acquired_on.is_some(),
    }
}

pub(super) fn new_fittings(machine: &Machine) -> impl Iterator<Item = (Uuid, NewFitting)> {
    machine.fittings.iter().map(|fitting| {
        let new = NewFitting {
            id: Some(fitting.id),
            part: fitting.part.to_owned(),
            how: fitting.how,
            fitted_at: fitting.at,
            fitted_hours: Some(fitting.hours),
            failed: fitting.failed,
        };
        (machine.id, new)
    })
}

pub(super) fn new_inspection(unit_id: Uuid, inspection: &Inspection) -> NewInspection {
    NewInspection {
        id: Some(inspection.id),
        unit_id,
        kind: inspection.kind,
        performed_at: inspection.at,
        run_hours: inspection.run_hours,
        readings: inspection.readings.iter().map(new_reading).collect(),
        note: None,
        corrects: None,
    }
}

fn new_reading(reading: &ReadingInput) -> NewReading {
    NewReading {
        check: reading.check.clone(),
        value: reading.value,
        unit: reading.unit.clone(),
        grade: reading.grade.clone(),
        works: reading.works,
        level: reading.level.clone(),
        temperature_c: reading.temperature_c,
        full_charge: reading.full_charge,
        repeats: reading.repeats,
        note: reading.note.clone(),
        ..NewReading::default()
    }
}

pub(super) fn new_meter_readings(machine: &Machine) -> impl Iterator<Item = NewMeterReading> {
    machine.meter.iter().map(|reading| NewMeterReading {
        id: Some(reading.id),
        unit_id: machine.id,
        read_at: reading.at,
        run_hours: reading.run_hours,
        estimated: reading.estimated,
        meter_replaced: false,
        started: reading.started,
        corrects: None,
        note: None,
    })
}

pub(super) fn new_tasks(machine: &Machine) -> impl Iterator<Item = (Uuid, NewTaskDone)> {
    machine.tasks.iter().map(|task| {
        let new = NewTaskDone {
            id: Some(task.id),
            task: task.task.clone(),
            done: true,
            done_at: task.at,
            run_hours: task.run_hours,
            note: None,
            corrects: None,
        };
        (machine.id, new)
    })
}

pub(super) fn new_limited_use(limited: &LimitedUse) -> NewLimitedUse {
    NewLimitedUse {
        id: Some(limited.id),
        reason: limited.reason.to_owned(),
        starts_at: limited.starts_at,
        ends_at: limited.ends_at,
    }
}
