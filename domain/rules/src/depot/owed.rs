//! What is owed of a unit's tasks with what it is worked out from, for whoever checks it.

use jiff::Timestamp;
use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use super::{clocks_of, storm_hours};
use crate::calculations::due::{HoursAhead, Input};
use crate::facts::DepotFacts;
use crate::unit::Shared;
use crate::unit::parts::Running;
use crate::unit::tasks::{TaskState, tasks_with_inputs};

/// A unit's tasks.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OwedTasks {
    /// The unit.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// When this was worked out.
    pub as_of: Timestamp,
    /// The civil date at its depot.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub today: Date,
    /// Its tasks, most urgent first, then by date.
    pub tasks: Vec<OwedTask>,
    /// Its hours to come, for the tasks that running hours bring due: put it into their `inputs`.
    pub hours_ahead: HoursAhead,
}

/// One of its tasks.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OwedTask {
    /// Where it stands.
    #[serde(flatten)]
    pub state: TaskState,
    /// What this is worked out from: the `due` calculation's input but for `hours_ahead`.
    pub inputs: Input,
}

/// The tasks of the unit; none where it is not at the depot or its model has no sheet.
pub fn owed(facts: &DepotFacts, unit_id: Uuid, as_of: Timestamp) -> Option<OwedTasks> {
    let shared = Shared::of(facts, as_of);
    let place = facts.units.iter().position(|unit| unit.id == unit_id)?;
    let clocks = clocks_of(&facts.units, &shared);
    let (unit, clock) = (&facts.units[place], clocks[place].as_ref()?);
    let sheet = facts.sheets.get(&unit.model)?;
    let hours = storm_hours(&shared)[place];
    let running = Running::new(&shared, unit, clock, hours);
    let tasks = tasks_with_inputs(&shared, unit, clock, sheet, &running);
    Some(OwedTasks {
        unit_id,
        tag: unit.tag.clone(),
        as_of,
        today: shared.today,
        tasks: tasks
            .into_iter()
            .map(|(state, inputs)| OwedTask { state, inputs })
            .collect(),
        hours_ahead: running.hours_ahead(),
    })
}
