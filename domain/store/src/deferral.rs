//! Tasks put off: by a named person, with the reason, until a day. A safety task is put off to the end of its window and no
//! further, whatever is entered: the rules see to that.

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use jiff_diesel::{NullableTimestamp, ToDiesel};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::json::json;
use crate::machine::{machines, named};
use crate::schema::deferral;
use crate::task_done::known_task;
use crate::{Error, Result, Tx, clock, depot, fields};

/// A task put off, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = deferral, check_for_backend(Pg))]
pub struct Deferral {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stood.
    pub depot_id: Uuid,
    /// The task on the unit's sheet.
    pub task: String,
    /// The last day it is put off for, by the depot's calendar.
    #[serde(rename = "until")]
    #[diesel(deserialize_as = jiff_diesel::Date, column_name = until_day)]
    pub until: Date,
    /// Why.
    pub reason: String,
    /// By whom: a person.
    pub deferred_by: Uuid,
    /// When.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub deferred_at: Timestamp,
    /// When it was ended before its time.
    #[diesel(deserialize_as = NullableTimestamp)]
    pub ended_at: Option<Timestamp>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A task to be put off by the person signed in.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewDeferral {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The task on the unit's present sheet.
    pub task: String,
    /// The last day it is put off for: today or later, at most 366 days ahead.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// Why: 1 to 500 characters.
    #[cfg_attr(feature = "schema", schema(example = "oil filter on order"))]
    pub reason: String,
}

/// Which deferrals; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Of units that stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Not ended by hand, or those that were.
    pub open: Option<bool>,
}

/// At most `limit` deferrals that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Deferral>> {
    let mut query = visible(tx);
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(deferral::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(deferral::depot_id.eq(depot_id));
    }
    match filter.open {
        Some(true) => query = query.filter(deferral::ended_at.is_null()),
        Some(false) => query = query.filter(deferral::ended_at.is_not_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(deferral::id.gt(after));
    }
    let query = query
        .select(Deferral::as_select())
        .order(deferral::id)
        .limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

/// One deferral that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Deferral> {
    let query = visible(tx)
        .filter(deferral::id.eq(id))
        .select(Deferral::as_select());
    Ok(query.first(&mut tx.connection()).await?)
}

fn visible<'a>(tx: &Tx<'_>) -> deferral::BoxedQuery<'a, Pg> {
    let mut query = deferral::table
        .filter(deferral::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, deferral);
    query
}

/// Puts off a task of the unit. Lock the scope of the unit's depot.
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit, [`Error::Invalid`] for a task that is not on its sheet and for a day
/// that cannot be, [`Error::Conflict`] for an id that is taken.
pub async fn put_off(tx: &mut Write<'_>, unit_id: Uuid, new: &NewDeferral) -> Result<Deferral> {
    let id = fields::id(new.id)?;
    fields::line("reason", &new.reason, 1..=500)?;
    let machines = machines(tx, &[unit_id]).await?;
    let machine = machines
        .get(&unit_id)
        .ok_or(Error::NotFound { what: "unit" })?;
    named(tx, &machines, unit_id, "")?;
    known_task(tx, machine, "task", &new.task).await?;
    let home = depot::find(tx, machine.depot_id).await?;
    let zone = jiff::tz::TimeZone::get(&home.zone).map_err(Error::internal)?;
    let deferred_at = clock::now();
    let today = deferred_at.to_zoned(zone).date();
    let latest = today.saturating_add(366.days());
    if new.until < today || new.until > latest {
        return Err(Error::invalid(
            "until",
            format!("must be {today} to {latest}: a task is put off to a day ahead, not for ever"),
        ));
    }
    let deferral = Deferral {
        id,
        unit_id,
        depot_id: machine.depot_id,
        task: new.task.clone(),
        until: new.until,
        reason: new.reason.clone(),
        deferred_by: tx.person_id()?,
        deferred_at,
        ended_at: None,
        rev: 1,
    };
    let row = (
        deferral::org_id.eq(tx.org_id()),
        deferral::id.eq(deferral.id),
        deferral::unit_id.eq(deferral.unit_id),
        deferral::depot_id.eq(deferral.depot_id),
        deferral::task.eq(&deferral.task),
        deferral::until_day.eq(deferral.until.to_diesel()),
        deferral::reason.eq(&deferral.reason),
        deferral::deferred_by.eq(deferral.deferred_by),
        deferral::deferred_at.eq(deferral.deferred_at.to_diesel()),
    );
    diesel::insert_into(deferral::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &deferral, "put off")?;
    Ok(deferral)
}

/// Ends a deferral before its time. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Conflict`] where it has ended.
pub async fn end(tx: &mut Write<'_>, id: Uuid) -> Result<Deferral> {
    let mut deferral = find(tx, id).await?;
    tx.must_hold(deferral.depot_id)?;
    if let Some(ended_at) = deferral.ended_at {
        return Err(Error::conflict(
            "",
            format!("the deferral ended at {ended_at}; there is nothing to end"),
        ));
    }
    deferral.ended_at = Some(clock::now());
    deferral.rev += 1;
    diesel::update(deferral::table.find((tx.org_id(), deferral.id)))
        .set((
            deferral::ended_at.eq(NullableTimestamp::from(deferral.ended_at)),
            deferral::rev.eq(deferral.rev),
        ))
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &deferral, "end")?;
    Ok(deferral)
}

fn publish(tx: &mut Write<'_>, deferral: &Deferral, action: &'static str) -> Result<()> {
    let (scope, id) = (deferral.depot_id, deferral.id);
    tx.publish(scope, kind::DEFERRAL, id, deferral.rev, deferral)?;
    tx.mark(scope);
    tx.audit(scope, action, kind::DEFERRAL, id, json(deferral)?);
    Ok(())
}
