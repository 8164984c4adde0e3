//! Units: the machines, one by one. Each belongs to a depot, whose scope its changes lock.

mod checklist;
mod relocate;

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::{Array, Date as SqlDate, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Span, Timestamp};
use jiff_diesel::ToDiesel;
use rimeyard_rules::sheet::{Sheet, Work};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::fitted_part::{self, Fitted};
use crate::json::{json, of_word, word};
use crate::letters::lower;
use crate::schema::{depot, unit};
use crate::{Error, Result, Tx, fields, prepared, sheet, work_order};

pub use checklist::{LastReading, UnitChecklist, UnitStep, checklist_of};

/// A unit as readers get it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Unit {
    /// Its id.
    pub id: Uuid,
    /// The number on its tag, unique in the organisation.
    pub tag: String,
    /// The depot it belongs to.
    pub depot_id: Uuid,
    /// Its model.
    pub model_id: Uuid,
    /// The kind of work it is rigged for now.
    pub rigging: Work,
    /// Where it is, if it is not at its depot: at a shop, on loan.
    pub away: Option<String>,
    /// When the agency got it.
    pub acquired_on: Option<Date>,
    /// When it was taken out of use for good.
    pub retired_at: Option<Timestamp>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A unit to be created.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewUnit {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The number on its tag: 1 to 40 characters, unique in the organisation.
    pub tag: String,
    /// The depot it belongs to.
    pub depot_id: Uuid,
    /// Its model.
    pub model_id: Uuid,
    /// The kind of work it is rigged for; the first its model can do if absent.
    pub rigging: Option<Work>,
    /// Where it is, if it is not at its depot: 1 to 200 characters.
    pub away: Option<String>,
    /// When the agency got it, if that is known.
    pub acquired_on: Option<Date>,
    /// Whether it came new that day, all its parts with it; needs `acquired_on`. Of a machine that came used, or of
    /// which nobody knows, no part has a known age until it is renewed.
    #[serde(default)]
    pub came_new: bool,
}

change! {
    /// What is to change of a unit: what is absent stays.
    pub struct UnitChange of Unit {
        /// 1 to 40 characters, unique in the organisation.
        tag: String,
        /// Another depot: the unit is moved there, with its parts, findings, hold tags, limited uses and open work orders.
        depot_id: Uuid,
        /// The kind of work it is rigged for: one its model can do.
        rigging: Work,
        /// Where it is, 1 to 200 characters; null when it is at its depot.
        away: Option<String>,
        /// When the agency got it: its hours and its age are counted from there; null where it is not known.
        acquired_on: Option<Date>,
        /// When it was taken out of use for good; null when it is in use. Its work orders are closed or dropped first.
        retired_at: Option<Timestamp>,
    }
}

/// Which units.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// Of this depot.
    pub depot_id: Option<Uuid>,
    /// Of this model.
    pub model_id: Option<Uuid>,
    /// With this number on its tag, in whatever letters.
    pub tag: Option<String>,
}

/// At most `limit` units that the tenant may see, retired ones too, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: &Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Unit>> {
    let mut query = unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .select(Row::as_select())
        .order(unit::id)
        .limit(limit)
        .into_boxed();
    if let Some(granted) = tx.tenant().depots.as_filter() {
        query = query.filter(unit::depot_id.eq_any(granted));
    }
    if let Some(after) = after {
        query = query.filter(unit::id.gt(after));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(unit::depot_id.eq(depot_id));
    }
    if let Some(model_id) = filter.model_id {
        query = query.filter(unit::model_id.eq(model_id));
    }
    if let Some(tag) = &filter.tag {
        query = query.filter(lower(unit::tag).eq(lower(tag.clone())));
    }
    let rows = query.load(&mut tx.connection()).await?;
    rows.into_iter().map(Unit::try_from).collect()
}

/// One unit that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Unit> {
    let row = unit::table
        .find((tx.org_id(), id))
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await?;
    let unit = Unit::try_from(row)?;
    if tx.tenant().depots.contains(unit.depot_id) {
        Ok(unit)
    } else {
        Err(Error::NotFound { what: "unit" })
    }
}

/// The scopes that creating these units writes to: their depots'.
///
/// # Errors
/// [`Error::Invalid`] for a depot that does not exist for the tenant.
pub async fn scopes_of_new(tx: &Tx<'_>, new: &[NewUnit]) -> Result<Vec<Uuid>> {
    let depots: Vec<Uuid> = new.iter().map(|new| new.depot_id).collect();
    let zones = zones(tx, &depots).await?;
    if depots.iter().any(|id| !zones.contains_key(id)) {
        return Err(Error::no_such("depot_id"));
    }
    Ok(zones.into_keys().collect())
}

/// The scopes that a change of a unit writes to: its depot's and, where it moves, that of the depot it moves to.
///
/// # Errors
/// [`Error::NotFound`] for the unit, [`Error::Invalid`] for a depot that does not exist for the tenant.
pub async fn scopes_of_change(tx: &Tx<'_>, id: Uuid, change: &UnitChange) -> Result<Vec<Uuid>> {
    let mut depots = vec![find(tx, id).await?.depot_id];
    if let Some(to) = change.depot_id {
        if !zones(tx, &[to]).await?.contains_key(&to) {
            return Err(Error::no_such("depot_id"));
        }
        depots.push(to);
    }
    Ok(depots)
}

/// Creates a unit: [`create_many`] of one.
///
/// # Errors
/// Those of [`create_many`].
pub async fn create(tx: &mut Write<'_>, new: &NewUnit) -> Result<Unit> {
    let units = create_many(tx, std::slice::from_ref(new)).await?;
    units
        .into_iter()
        .next()
        .ok_or_else(|| Error::internal("a unit went in and none came out"))
}

/// Creates units, each with the parts of its model's sheet as delivered: of a machine that came new they were fitted at
/// no hours on the day it was acquired, of any other nobody knows when. Lock the scopes of their depots; the tenant must be a person.
///
/// # Errors
/// [`Error::Invalid`], [`Error::Conflict`] for a tag or id that is taken.
pub async fn create_many(tx: &mut Write<'_>, new: &[NewUnit]) -> Result<Vec<Unit>> {
    let depots: Vec<Uuid> = new.iter().map(|new| new.depot_id).collect();
    let models: Vec<Uuid> = new.iter().map(|new| new.model_id).collect();
    let (zones, sheets) = futures::try_join!(zones(tx, &depots), sheet::present(tx, &models))?;
    let mut units = Vec::with_capacity(new.len());
    let mut parts = Vec::new();
    for new in new {
        let zone = zones
            .get(&new.depot_id)
            .ok_or_else(|| Error::no_such("depot_id"))?;
        let sheet = sheets
            .get(&new.model_id)
            .ok_or_else(|| Error::no_such("model_id"))?;
        let (unit, new_since) = draft(new, zone, sheet)?;
        for part in &sheet.parts {
            parts.push(Fitted::delivered(&unit, &part.part, new_since));
        }
        units.push(unit);
    }
    insert(tx, &units).await?;
    for unit in &units {
        tx.publish(unit.depot_id, kind::UNIT, unit.id, unit.rev, unit)?;
        tx.mark(unit.depot_id);
        tx.audit(unit.depot_id, "create", kind::UNIT, unit.id, json(unit)?);
    }
    fitted_part::deliver(tx, parts).await?;
    Ok(units)
}

/// A unit as it would be created, and since when its parts are new.
///
/// # Errors
/// [`Error::Invalid`] for what no unit may be.
pub(crate) fn draft(
    new: &NewUnit,
    zone: &TimeZone,
    sheet: &Sheet,
) -> Result<(Unit, Option<Timestamp>)> {
    let unit = Unit {
        id: fields::id(new.id)?,
        tag: new.tag.clone(),
        depot_id: new.depot_id,
        model_id: new.model_id,
        rigging: new.rigging.unwrap_or(sheet.works[0]),
        away: new.away.clone(),
        acquired_on: new.acquired_on,
        retired_at: None,
        rev: 1,
    };
    check(&unit, sheet)?;
    let acquired_at = unit
        .acquired_on
        .map(|day| day.to_zoned(zone.clone()))
        .transpose()
        .map_err(|_| Error::invalid("acquired_on", "is no day of the calendar"))?
        .map(|day| day.timestamp());
    if new.came_new && acquired_at.is_none() {
        return Err(Error::invalid(
            "came_new",
            "needs acquired_on: say on which day it came new, or leave came_new out",
        ));
    }
    // An agency's day of purchase says nothing of the age of a used machine's parts.
    Ok((unit, acquired_at.filter(|_| new.came_new)))
}

/// Changes a unit that stands at `rev`. Lock the [`scopes_of_change`].
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] for a tag that is taken, and for a
/// unit to be retired that has open work orders.
pub async fn update(tx: &mut Write<'_>, id: Uuid, rev: i64, change: &UnitChange) -> Result<Unit> {
    let before = find(tx, id).await?;
    if before.rev != rev {
        return Err(Error::Stale);
    }
    let mut unit = before.clone();
    change.apply(&mut unit);
    unit.retired_at = unit
        .retired_at
        .map(|at| fields::instant("retired_at", at))
        .transpose()?;
    unit.rev += 1;
    let sheets = sheet::present(tx, &[unit.model_id]).await?;
    let sheet = sheets
        .get(&unit.model_id)
        .ok_or_else(|| Error::internal(format!("model {} has no sheet", unit.model_id)))?;
    check(&unit, sheet)?;
    if unit.retired_at.is_some() && before.retired_at.is_none() {
        work_order::none_open(tx, id).await?;
    }
    let row = (
        unit::depot_id.eq(unit.depot_id),
        unit::tag.eq(&unit.tag),
        unit::rigging.eq(word(&unit.rigging)?),
        unit::away.eq(&unit.away),
        unit::acquired_on.eq(unit.acquired_on.map(|day| day.to_diesel())),
        unit::retired_at.eq(unit.retired_at.map(|at| at.to_diesel())),
        unit::rev.eq(unit.rev),
    );
    diesel::update(unit::table.find((tx.org_id(), id)))
        .set(row)
        .execute(&mut tx.connection())
        .await?;
    if unit.depot_id != before.depot_id {
        relocate::relocate(tx, &unit, before.depot_id).await?;
    }
    tx.publish(unit.depot_id, kind::UNIT, id, unit.rev, &unit)?;
    tx.mark(unit.depot_id);
    let what = difference(&json(&before)?, &json(&unit)?);
    tx.audit(unit.depot_id, "update", kind::UNIT, id, what);
    Ok(unit)
}

/// What no unit may be.
fn check(unit: &Unit, sheet: &Sheet) -> Result<()> {
    fields::line("tag", &unit.tag, 1..=40)?;
    if let Some(away) = &unit.away {
        fields::line("away", away, 1..=200)?;
    }
    if !sheet.works.contains(&unit.rigging) {
        let works: Vec<String> = sheet.works.iter().map(word).collect::<Result<_>>()?;
        return Err(Error::invalid(
            "rigging",
            format!(
                "is not what the model can be rigged for; it can: {}",
                works.join(", ")
            ),
        ));
    }
    let now = Timestamp::now();
    // Whatever the zone, no day is further ahead of UTC.
    let latest = now
        .to_zoned(TimeZone::UTC)
        .date()
        .saturating_add(Span::new().days(1));
    if unit
        .acquired_on
        .is_some_and(|day| day.year() < 1900 || day > latest)
    {
        return Err(Error::invalid(
            "acquired_on",
            "must be a day since 1900 and not in the future; leave it out if it is not known",
        ));
    }
    if unit.retired_at.is_some_and(|at| at > now) {
        return Err(Error::invalid(
            "retired_at",
            "lies in the future; retire the unit when it is taken out of use",
        ));
    }
    Ok(())
}

/// The zones of those of the depots that exist for the tenant.
async fn zones(tx: &Tx<'_>, depots: &[Uuid]) -> Result<BTreeMap<Uuid, TimeZone>> {
    let seen = depots.iter().filter(|id| tx.tenant().depots.contains(**id));
    let rows: Vec<(Uuid, String)> = depot::table
        .filter(depot::org_id.eq(tx.org_id()))
        .filter(depot::id.eq_any(seen))
        .select((depot::id, depot::zone))
        .load(&mut tx.connection())
        .await?;
    rows.into_iter()
        .map(|(id, zone)| Ok((id, TimeZone::get(&zone).map_err(Error::internal)?)))
        .collect()
}

async fn insert(tx: &Tx<'_>, units: &[Unit]) -> Result<()> {
    let riggings: Vec<String> = units
        .iter()
        .map(|unit| word(&unit.rigging))
        .collect::<Result<_>>()?;
    let days = units
        .iter()
        .map(|unit| unit.acquired_on.map(|day| day.to_diesel()));
    prepared(
        diesel::sql_query(
            "insert into unit (org_id, id, depot_id, model_id, tag, rigging, away, acquired_on)
             select $1, id, depot_id, model_id, tag, rigging, away, acquired_on
             from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::text[], $7::text[], $8::date[])
                 as u (id, depot_id, model_id, tag, rigging, away, acquired_on)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(units.iter().map(|unit| unit.id).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(units.iter().map(|unit| unit.depot_id).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(units.iter().map(|unit| unit.model_id).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(units.iter().map(|unit| &unit.tag).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(riggings)
        .bind::<Array<Nullable<Text>>, _>(units.iter().map(|unit| unit.away.as_ref()).collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlDate>>, _>(days.collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

/// The unit as the table holds it.
#[derive(Queryable, Selectable)]
#[diesel(table_name = unit, check_for_backend(diesel::pg::Pg))]
struct Row {
    id: Uuid,
    tag: String,
    depot_id: Uuid,
    model_id: Uuid,
    rigging: String,
    away: Option<String>,
    #[diesel(deserialize_as = jiff_diesel::NullableDate)]
    acquired_on: Option<Date>,
    #[diesel(deserialize_as = jiff_diesel::NullableTimestamp)]
    retired_at: Option<Timestamp>,
    rev: i64,
}

impl TryFrom<Row> for Unit {
    type Error = Error;

    fn try_from(row: Row) -> Result<Self> {
        Ok(Unit {
            id: row.id,
            tag: row.tag,
            depot_id: row.depot_id,
            model_id: row.model_id,
            rigging: of_word(row.rigging)?,
            away: row.away,
            acquired_on: row.acquired_on,
            retired_at: row.retired_at,
            rev: row.rev,
        })
    }
}
