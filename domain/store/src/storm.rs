//! Storms: what snow is to come, when, and at which depots. A storm stands in the feed of each depot it touches, naming
//! that depot only.

use std::collections::BTreeMap;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::{SignedDuration, Timestamp};
use jiff_diesel::{NullableTimestamp, ToDiesel};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::change::{change, difference};
use crate::feed::{Write, kind};
use crate::json::json;
use crate::schema::{depot, storm, storm_depot};
use crate::{Error, Result, Tx, clock, fields, prepared};

/// The most depots one storm may touch.
pub const DEPOTS_MAX: usize = 500;
/// The longest storm.
const LONGEST: SignedDuration = SignedDuration::from_hours(14 * 24);

/// A storm as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Storm {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: String,
    /// When snow begins.
    pub starts_at: Timestamp,
    /// When it ends.
    pub ends_at: Timestamp,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3; by the temperature where null.
    pub density_kg_m3: Option<f64>,
    /// Air temperature while it snows, degC.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC.
    pub low_c: Option<f64>,
    /// The depots it touches, of those the reader may see.
    pub depots: Vec<Uuid>,
    /// When it was called off.
    pub cancelled_at: Option<Timestamp>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// A storm to be entered.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewStorm {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// 1 to 200 characters.
    pub name: String,
    /// When snow begins.
    pub starts_at: Timestamp,
    /// When it ends: at most 14 days later.
    pub ends_at: Timestamp,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Density of the snow, kg/m3; by the temperature where absent.
    pub density_kg_m3: Option<f64>,
    /// Air temperature while it snows, degC.
    pub temperature_c: Option<f64>,
    /// Lowest temperature before and during it, degC: batteries freeze by it.
    pub low_c: Option<f64>,
    /// The depots it touches: 1 to 500.
    pub depots: Vec<Uuid>,
}

change! {
    /// What is to change of a storm: what is absent stays.
    pub struct StormChange of Storm {
        /// 1 to 200 characters.
        name: String,
        /// When snow begins.
        starts_at: Timestamp,
        /// When it ends: at most 14 days later.
        ends_at: Timestamp,
        /// How much falls, mm.
        depth_mm: f64,
        /// At how much lying snow ground is cleared again, mm.
        reclear_mm: f64,
        /// Density of the snow, kg/m3.
        density_kg_m3: Option<f64>,
        /// Air temperature while it snows, degC.
        temperature_c: Option<f64>,
        /// Lowest temperature before and during it, degC.
        low_c: Option<f64>,
        /// All the depots it touches, in place of those before: 1 to 500.
        depots: Vec<Uuid>,
    } and {
        /// True calls it off, for good.
        cancelled: bool,
    }
}

/// Which storms; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Those that touch this depot.
    pub depot_id: Option<Uuid>,
    /// Those not over at this instant.
    pub from: Option<Timestamp>,
    /// Those begun by this instant.
    pub to: Option<Timestamp>,
}

/// At most `limit` storms that touch a depot the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Storm>> {
    let mut query = visible(tx);
    if let Some(depot_id) = filter.depot_id {
        if !tx.tenant().depots.contains(depot_id) {
            return Ok(Vec::new());
        }
        query = query.filter(storm::id.eq_any(touching(tx.org_id(), vec![depot_id])));
    }
    if let Some(from) = filter.from {
        query = query.filter(storm::ends_at.gt(from.to_diesel()));
    }
    if let Some(to) = filter.to {
        query = query.filter(storm::starts_at.lt(to.to_diesel()));
    }
    if let Some(after) = after {
        query = query.filter(storm::id.gt(after));
    }
    let query = query.select(Row::as_select()).order(storm::id).limit(limit);
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    with_depots(tx, rows).await
}

/// One storm that touches a depot the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Storm> {
    let query = visible(tx)
        .filter(storm::id.eq(id))
        .select(Row::as_select());
    let row: Row = query.first(&mut tx.connection()).await?;
    let storm = with_depots(tx, vec![row]).await?.pop();
    storm.ok_or(Error::NotFound { what: "storm" })
}

fn visible<'a>(tx: &Tx<'_>) -> storm::BoxedQuery<'a, Pg> {
    let mut query = storm::table
        .filter(storm::org_id.eq(tx.org_id()))
        .into_boxed();
    if let Some(granted) = tx.tenant().depots.as_filter() {
        query = query.filter(storm::id.eq_any(touching(tx.org_id(), granted)));
    }
    query
}

/// The storms that touch any of these depots.
#[diesel::dsl::auto_type(no_type_alias)]
fn touching(org_id: Uuid, depots: Vec<Uuid>) -> _ {
    storm_depot::table
        .filter(storm_depot::org_id.eq(org_id))
        .filter(storm_depot::depot_id.eq_any(depots))
        .select(storm_depot::storm_id)
}

/// The storms with the depots they touch, those granted.
async fn with_depots(tx: &Tx<'_>, rows: Vec<Row>) -> Result<Vec<Storm>> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    let mut depots: BTreeMap<Uuid, Vec<Uuid>> = BTreeMap::new();
    for (storm_id, depot_id) in touched(tx, &ids).await? {
        if tx.tenant().depots.contains(depot_id) {
            depots.entry(storm_id).or_default().push(depot_id);
        }
    }
    let storms = rows.into_iter().map(|row| {
        let touched = depots.remove(&row.id).unwrap_or_default();
        row.storm(touched)
    });
    Ok(storms.collect())
}

/// The depots these storms touch, granted or not.
async fn touched(tx: &Tx<'_>, ids: &[Uuid]) -> Result<Vec<(Uuid, Uuid)>> {
    let query = storm_depot::table
        .filter(storm_depot::org_id.eq(tx.org_id()))
        .filter(storm_depot::storm_id.eq_any(ids))
        .select((storm_depot::storm_id, storm_depot::depot_id))
        .order((storm_depot::storm_id, storm_depot::depot_id));
    Ok(query.load(&mut tx.connection()).await?)
}

/// Enters a storm. Lock the scopes of its depots.
///
/// # Errors
/// [`Error::Invalid`], [`Error::Conflict`] for an id that is taken.
pub async fn create(tx: &mut Write<'_>, new: &NewStorm) -> Result<Storm> {
    let mut storm = Storm {
        id: fields::id(new.id)?,
        name: new.name.clone(),
        starts_at: new.starts_at,
        ends_at: new.ends_at,
        depth_mm: new.depth_mm,
        reclear_mm: new.reclear_mm,
        density_kg_m3: new.density_kg_m3,
        temperature_c: new.temperature_c,
        low_c: new.low_c,
        depots: new.depots.clone(),
        cancelled_at: None,
        rev: 1,
    };
    exist(tx, &storm.depots).await?;
    check(&mut storm)?;
    diesel::insert_into(storm::table)
        .values((storm::org_id.eq(tx.org_id()), Row::of(&storm)))
        .execute(&mut tx.connection())
        .await?;
    touch(tx, storm.id, &storm.depots).await?;
    publish(tx, &storm)?;
    audit(tx, "create", &storm, json(&storm)?);
    Ok(storm)
}

/// The scopes to lock for a change: those of the depots it touches, before and after.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Invalid`] for a depot that is not there, or not for this tenant; [`Error::Forbidden`]
/// where it touches a depot that is not granted: such a storm is for whoever answers for all of its depots.
pub async fn scopes(tx: &Tx<'_>, id: Uuid, change: &StormChange) -> Result<Vec<Uuid>> {
    let storm = find(tx, id).await?;
    if touched(tx, &[id]).await?.len() > storm.depots.len() {
        return Err(Error::Forbidden);
    }
    let after = change.depots.as_deref().unwrap_or_default();
    exist(tx, after).await?;
    Ok([storm.depots.as_slice(), after].concat())
}

/// Changes a storm that stands at `rev`. Lock its [`scopes`].
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Invalid`], [`Error::Conflict`] where it is cancelled.
pub async fn update(tx: &mut Write<'_>, id: Uuid, rev: i64, change: &StormChange) -> Result<Storm> {
    let mut storm = find(tx, id).await?;
    if storm.rev != rev {
        return Err(Error::Stale);
    }
    if storm.cancelled_at.is_some() {
        return Err(Error::conflict(
            "",
            "the storm is cancelled, for good; enter a new one",
        ));
    }
    let before = storm.clone();
    change.apply(&mut storm);
    if change.cancelled == Some(true) {
        storm.cancelled_at = Some(clock::now());
    }
    storm.rev += 1;
    check(&mut storm)?;
    diesel::update(storm::table.find((tx.org_id(), id)))
        .set(Row::of(&storm))
        .execute(&mut tx.connection())
        .await?;
    let without = |all: &[Uuid], these: &[Uuid]| -> Vec<Uuid> {
        all.iter()
            .copied()
            .filter(|id| !these.contains(id))
            .collect()
    };
    let gone = without(&before.depots, &storm.depots);
    let added = without(&storm.depots, &before.depots);
    if !gone.is_empty() {
        diesel::delete(storm_depot::table)
            .filter(storm_depot::org_id.eq(tx.org_id()))
            .filter(storm_depot::storm_id.eq(id))
            .filter(storm_depot::depot_id.eq_any(&gone))
            .execute(&mut tx.connection())
            .await?;
    }
    touch(tx, id, &added).await?;
    publish(tx, &storm)?;
    for depot_id in gone {
        tx.remove(depot_id, kind::STORM, id, storm.rev)?;
        tx.mark(depot_id);
    }
    audit(
        tx,
        "update",
        &storm,
        difference(&json(&before)?, &json(&storm)?),
    );
    Ok(storm)
}

/// What no storm may be.
fn check(storm: &mut Storm) -> Result<()> {
    fields::line("name", &storm.name, 1..=200)?;
    storm.starts_at = fields::instant("starts_at", storm.starts_at)?;
    storm.ends_at = fields::instant("ends_at", storm.ends_at)?;
    if storm.ends_at <= storm.starts_at {
        return Err(Error::invalid("ends_at", "must be later than starts_at"));
    }
    if storm.ends_at > storm.starts_at + LONGEST {
        return Err(Error::invalid(
            "ends_at",
            "must be at most 14 days after starts_at",
        ));
    }
    fields::number("depth_mm", storm.depth_mm, 1.0..=5_000.0)?;
    fields::number("reclear_mm", storm.reclear_mm, 1.0..=5_000.0)?;
    // Up to the density of ice.
    fields::optional_number("density_kg_m3", storm.density_kg_m3, 10.0..=917.0)?;
    fields::optional_number("temperature_c", storm.temperature_c, -80.0..=20.0)?;
    fields::optional_number("low_c", storm.low_c, -80.0..=20.0)?;
    storm.depots.sort_unstable();
    storm.depots.dedup();
    if storm.depots.is_empty() {
        return Err(Error::invalid(
            "depots",
            "is empty; name at least one depot",
        ));
    }
    Ok(())
}

/// Whether all of these, at most 500, are depots that the tenant may see.
///
/// # Errors
/// [`Error::Invalid`].
pub async fn exist(tx: &Tx<'_>, depots: &[Uuid]) -> Result<()> {
    fields::count("depots", depots, DEPOTS_MAX)?;
    let known: Vec<Uuid> = depot::table
        .filter(depot::org_id.eq(tx.org_id()))
        .filter(depot::id.eq_any(depots))
        .select(depot::id)
        .load(&mut tx.connection())
        .await?;
    let there = |id: &Uuid| known.contains(id) && tx.tenant().depots.contains(*id);
    match depots.iter().position(|id| !there(id)) {
        Some(index) => Err(Error::no_such(format!("depots[{index}]"))),
        None => Ok(()),
    }
}

async fn touch(tx: &Write<'_>, id: Uuid, depots: &[Uuid]) -> Result<()> {
    if depots.is_empty() {
        return Ok(());
    }
    prepared(
        diesel::sql_query("insert into storm_depot (org_id, storm_id, depot_id) select $1, $2, unnest($3::uuid[])")
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(id)
            .bind::<Array<SqlUuid>, _>(depots),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

/// Publishes it in the scope of each depot, naming that one only: who is granted one need not know of the others.
fn publish(tx: &mut Write<'_>, storm: &Storm) -> Result<()> {
    for depot_id in &storm.depots {
        let there = Storm {
            depots: vec![*depot_id],
            ..storm.clone()
        };
        tx.publish(*depot_id, kind::STORM, storm.id, storm.rev, &there)?;
        tx.mark(*depot_id);
    }
    Ok(())
}

fn audit(tx: &mut Write<'_>, action: &'static str, storm: &Storm, detail: serde_json::Value) {
    tx.audit(tx.org_id(), action, kind::STORM, storm.id, detail);
}

/// The storm as the table holds it.
#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = storm, check_for_backend(Pg), treat_none_as_null = true)]
struct Row {
    id: Uuid,
    name: String,
    #[diesel(deserialize_as = jiff_diesel::Timestamp, serialize_as = jiff_diesel::Timestamp)]
    starts_at: Timestamp,
    #[diesel(deserialize_as = jiff_diesel::Timestamp, serialize_as = jiff_diesel::Timestamp)]
    ends_at: Timestamp,
    depth_mm: f64,
    reclear_mm: f64,
    density_kg_m3: Option<f64>,
    temperature_c: Option<f64>,
    low_c: Option<f64>,
    #[diesel(deserialize_as = NullableTimestamp, serialize_as = NullableTimestamp)]
    cancelled_at: Option<Timestamp>,
    rev: i64,
}

impl Row {
    fn of(storm: &Storm) -> Self {
        Row {
            id: storm.id,
            name: storm.name.clone(),
            starts_at: storm.starts_at,
            ends_at: storm.ends_at,
            depth_mm: storm.depth_mm,
            reclear_mm: storm.reclear_mm,
            density_kg_m3: storm.density_kg_m3,
            temperature_c: storm.temperature_c,
            low_c: storm.low_c,
            cancelled_at: storm.cancelled_at,
            rev: storm.rev,
        }
    }

    fn storm(self, depots: Vec<Uuid>) -> Storm {
        Storm {
            id: self.id,
            name: self.name,
            starts_at: self.starts_at,
            ends_at: self.ends_at,
            depth_mm: self.depth_mm,
            reclear_mm: self.reclear_mm,
            density_kg_m3: self.density_kg_m3,
            temperature_c: self.temperature_c,
            low_c: self.low_c,
            depots,
            cancelled_at: self.cancelled_at,
            rev: self.rev,
        }
    }
}
