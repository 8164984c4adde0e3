//! Tasks of units' sheets, done. Facts: never changed, corrected by a later one that names the one it corrects.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::correction::{self, Fact};
use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::json::json;
use crate::machine::{Machine, machines, named};
use crate::schema::task_done;
use crate::{Error, Result, Tx, clock, fields, sheet, unit};

/// A task, done, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct TaskDone {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stood when word of it was received.
    pub depot_id: Uuid,
    /// The task on the unit's sheet.
    pub task: String,
    /// Whether it was done; false in a correction: not done after all.
    pub done: bool,
    /// When.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub done_at: Timestamp,
    /// When word of it was received.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub received_at: Timestamp,
    /// By whom: a person.
    pub done_by: Uuid,
    /// Running hours on the meter then.
    pub run_hours: Option<f64>,
    /// The work order it was a line of.
    pub work_order_id: Option<Uuid>,
    /// The fact that this one corrects.
    pub corrects: Option<Uuid>,
    /// The fact that corrects this one: then this one no longer counts.
    pub corrected_by: Option<Uuid>,
    /// A word with it.
    pub note: Option<String>,
    /// Its version: 2 once it is corrected.
    pub rev: i64,
}

/// A task, done, to be recorded by the person signed in.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewTaskDone {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The task on the unit's present sheet.
    pub task: String,
    /// False in a correction: it was not done after all.
    #[serde(default = "yes")]
    pub done: bool,
    /// When.
    pub done_at: Timestamp,
    /// Running hours on the meter then, 0 to 100,000; absent where nobody looked.
    pub run_hours: Option<f64>,
    /// A word with it: at most 2,000 characters.
    pub note: Option<String>,
    /// The fact about the same unit and task that this one corrects.
    pub corrects: Option<Uuid>,
}

fn yes() -> bool {
    true
}

/// Which facts; what is absent does not narrow.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Received while the unit stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Of this task.
    pub task: Option<String>,
}

/// At most `limit` facts that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<TaskDone>> {
    select(tx, filter, None, after, limit).await
}

/// One fact that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<TaskDone> {
    let found = select(tx, Filter::default(), Some(id), None, 1)
        .await?
        .pop();
    found.ok_or(Error::NotFound { what: "task done" })
}

async fn select(
    tx: &Tx<'_>,
    filter: Filter,
    id: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<TaskDone>> {
    let correction = diesel::alias!(task_done as correction);
    let corrects_it = correction
        .field(task_done::org_id)
        .eq(task_done::org_id)
        .and(
            correction
                .field(task_done::corrects)
                .eq(task_done::id.nullable()),
        );
    let mut query = task_done::table
        .left_join(correction.on(corrects_it))
        .filter(task_done::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, task_done);
    if let Some(id) = id {
        query = query.filter(task_done::id.eq(id));
    }
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(task_done::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(task_done::depot_id.eq(depot_id));
    }
    if let Some(task) = filter.task {
        query = query.filter(task_done::task.eq(task));
    }
    if let Some(after) = after {
        query = query.filter(task_done::id.gt(after));
    }
    let corrected_by = correction.field(task_done::id).nullable();
    let rev =
        diesel::dsl::case_when::<_, _, diesel::sql_types::BigInt>(corrected_by.is_null(), 1_i64)
            .otherwise(2_i64);
    let query = query
        .select((
            task_done::id,
            task_done::unit_id,
            task_done::depot_id,
            task_done::task,
            task_done::done,
            task_done::done_at,
            task_done::received_at,
            task_done::done_by,
            task_done::run_hours,
            task_done::work_order_id,
            task_done::corrects,
            corrected_by,
            task_done::note,
            rev,
        ))
        .order(task_done::id)
        .limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

impl Fact for TaskDone {
    fn id(&self) -> Uuid {
        self.id
    }

    fn unit_id(&self) -> Uuid {
        self.unit_id
    }

    fn corrected_by(&self) -> Option<Uuid> {
        self.corrected_by
    }
}

/// The scopes to lock for recording it: of the unit's depot, and of that where what it corrects was received.
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit.
pub async fn scopes(tx: &Tx<'_>, unit_id: Uuid, new: &NewTaskDone) -> Result<Vec<Uuid>> {
    let mut scopes = vec![unit::find(tx, unit_id).await?.depot_id];
    if new.corrects.is_some() {
        let old = select(tx, Filter::default(), new.corrects, None, 1).await?;
        scopes.extend(old.into_iter().map(|old| old.depot_id));
    }
    Ok(scopes)
}

/// Records that a task of the unit was done, or, as a correction, that it was not. Lock its
/// [`scopes`].
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit, [`Error::Invalid`] for a task that is not on its sheet and for what
/// cannot be, [`Error::Conflict`] for an id that is taken or a fact that is corrected already.
pub async fn record(tx: &mut Write<'_>, unit_id: Uuid, new: &NewTaskDone) -> Result<TaskDone> {
    let machines = machines(tx, &[unit_id]).await?;
    let machine = machines
        .get(&unit_id)
        .ok_or(Error::NotFound { what: "unit" })?;
    named(tx, &machines, unit_id, "")?;
    fields::optional_number("run_hours", new.run_hours, fields::RUN_HOURS)?;
    if let Some(note) = &new.note {
        fields::lines("note", note, 0..=2_000)?;
    }
    let corrected = match new.corrects {
        Some(corrects) => corrected(tx, unit_id, new, corrects).await?,
        None => None,
    };
    if corrected.is_none() {
        if !new.done {
            return Err(Error::invalid(
                "done",
                "false belongs to a correction; name the fact it corrects, or leave it out",
            ));
        }
        known_task(tx, machine, "task", &new.task).await?;
    }
    let task = TaskDone {
        id: fields::id(new.id)?,
        unit_id,
        depot_id: machine.depot_id,
        task: new.task.clone(),
        done: new.done,
        done_at: fields::instant("done_at", new.done_at)?,
        received_at: clock::now(),
        done_by: tx.person_id()?,
        run_hours: new.run_hours,
        work_order_id: None,
        corrects: new.corrects,
        corrected_by: None,
        note: new.note.clone(),
        rev: 1,
    };
    store(tx, std::slice::from_ref(&task)).await?;
    if let Some(mut old) = corrected {
        old.corrected_by = Some(task.id);
        old.rev = 2;
        tx.must_hold(old.depot_id)?;
        tx.publish(old.depot_id, kind::TASK_DONE, old.id, old.rev, &old)?;
    }
    Ok(task)
}

/// Records tasks that were done, hundreds at a time, none of them a correction, by lines of this work order, if by one.
/// Lock the scopes of the depots that their units stand at.
///
/// # Errors
/// As [`record`]; the field begins with the place in the list: `[3].task`.
pub async fn record_many(
    tx: &mut Write<'_>,
    new: &[(Uuid, NewTaskDone)],
    work_order_id: Option<Uuid>,
) -> Result<()> {
    let units: Vec<Uuid> = new.iter().map(|(unit_id, _)| *unit_id).collect();
    let machines = machines(tx, &units).await?;
    let mut models: Vec<Uuid> = machines.values().map(|machine| machine.model_id).collect();
    models.sort_unstable();
    models.dedup();
    let sheets = sheet::present(tx, &models).await?;
    let mut tasks = Vec::with_capacity(new.len());
    for (index, (unit_id, new)) in new.iter().enumerate() {
        let field = |name: &str| format!("[{index}].{name}");
        let machine = named(tx, &machines, *unit_id, &field("unit_id"))?;
        if new.corrects.is_some() || !new.done {
            return Err(Error::invalid(
                field("corrects"),
                "belongs to a correction; record those one by one",
            ));
        }
        let sheet = sheets.get(&machine.model_id);
        if sheet.and_then(|sheet| sheet.task(&new.task)).is_none() {
            return Err(Error::invalid(
                field("task"),
                "is not a task of the unit's sheet",
            ));
        }
        fields::optional_number(&field("run_hours"), new.run_hours, fields::RUN_HOURS)?;
        if let Some(note) = &new.note {
            fields::lines(&field("note"), note, 0..=2_000)?;
        }
        tasks.push(TaskDone {
            id: fields::id(new.id)?,
            unit_id: *unit_id,
            depot_id: machine.depot_id,
            task: new.task.clone(),
            done: true,
            done_at: fields::instant(&field("done_at"), new.done_at)?,
            received_at: clock::now(),
            done_by: tx.person_id()?,
            run_hours: new.run_hours,
            work_order_id,
            corrects: None,
            corrected_by: None,
            note: new.note.clone(),
            rev: 1,
        });
    }
    store(tx, &tasks).await
}

/// Keeps new facts and publishes them.
async fn store(tx: &mut Write<'_>, tasks: &[TaskDone]) -> Result<()> {
    let org_id = tx.org_id();
    let row = |task: &TaskDone| {
        (
            task_done::org_id.eq(org_id),
            task_done::id.eq(task.id),
            task_done::unit_id.eq(task.unit_id),
            task_done::depot_id.eq(task.depot_id),
            task_done::task.eq(task.task.clone()),
            task_done::done.eq(task.done),
            task_done::done_at.eq(task.done_at.to_diesel()),
            task_done::received_at.eq(task.received_at.to_diesel()),
            task_done::done_by.eq(task.done_by),
            task_done::run_hours.eq(task.run_hours),
            task_done::work_order_id.eq(task.work_order_id),
            task_done::corrects.eq(task.corrects),
            task_done::note.eq(task.note.clone()),
        )
    };
    diesel::insert_into(task_done::table)
        .values(tasks.iter().map(row).collect::<Vec<_>>())
        .execute(&mut tx.connection())
        .await?;
    for task in tasks {
        tx.publish(task.depot_id, kind::TASK_DONE, task.id, task.rev, task)?;
        tx.mark(task.depot_id);
        let what = json(task)?;
        tx.audit(task.depot_id, "record", kind::TASK_DONE, task.id, what);
    }
    Ok(())
}

async fn corrected(
    tx: &Tx<'_>,
    unit_id: Uuid,
    new: &NewTaskDone,
    corrects: Uuid,
) -> Result<Option<TaskDone>> {
    let old: Vec<TaskDone> = select(tx, Filter::default(), Some(corrects), None, 1).await?;
    let one = std::iter::once((unit_id, Some(corrects)));
    correction::check(one, &old).map_err(Error::of_the_first)?;
    if old.iter().any(|old| old.task != new.task) {
        return Err(Error::invalid(
            "task",
            "is not the task that is corrected; a correction is of the same one",
        ));
    }
    Ok(old.into_iter().next())
}

/// That the task is on the unit's present sheet.
///
/// # Errors
/// [`Error::Invalid`], the tasks there are beside it.
pub(crate) async fn known_task(
    tx: &Tx<'_>,
    machine: &Machine,
    field: &str,
    task: &str,
) -> Result<()> {
    let sheets = sheet::present(tx, &[machine.model_id]).await?;
    let tasks = sheets.values().flat_map(|sheet| &sheet.tasks);
    let tasks: Vec<&str> = tasks.map(|task| task.task.as_str()).collect();
    if tasks.contains(&task) {
        return Ok(());
    }
    let there = match tasks.as_slice() {
        [] => "the sheet of its model has no tasks; add them to the sheet first".to_owned(),
        tasks => format!("there are {}", tasks.join(", ")),
    };
    Err(Error::invalid(
        field,
        format!("is not a task of the unit's sheet: {there}"),
    ))
}
