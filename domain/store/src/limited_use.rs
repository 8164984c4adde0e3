//! Use under stated limits ("day only: lamp dark"): a named person stands for it, until an end. It counts in a storm
//! only once the depot lead has admitted it for that storm.

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use jiff::{SignedDuration, Timestamp};
use jiff_diesel::{NullableTimestamp, ToDiesel};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::{Write, kind};
use crate::granted::granted;
use crate::json::json;
use crate::machine::{machines, named};
use crate::schema::limited_use;
use crate::{Error, Result, Tx, clock, fields, storm};

/// The longest use under one set of limits: a season and a summer.
const LONGEST: SignedDuration = SignedDuration::from_hours(366 * 24);

/// Use under stated limits, as readers get it.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = limited_use, check_for_backend(Pg))]
pub struct LimitedUse {
    /// Its id.
    pub id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// Where the unit stood.
    pub depot_id: Uuid,
    /// The limit and why.
    #[cfg_attr(feature = "schema", schema(example = "day only: lamp dark"))]
    pub reason: String,
    /// Who stands for it: a person.
    pub named_by: Uuid,
    /// From when.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub starts_at: Timestamp,
    /// Until when.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub ends_at: Timestamp,
    /// When it was ended before its time.
    #[diesel(deserialize_as = NullableTimestamp)]
    pub ended_at: Option<Timestamp>,
    /// The storm it is admitted for.
    pub admitted_storm: Option<Uuid>,
    /// By whom: a person.
    pub admitted_by: Option<Uuid>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// Use under stated limits, to be allowed by the person signed in.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewLimitedUse {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The limit and why: 1 to 500 characters.
    #[cfg_attr(feature = "schema", schema(example = "day only: lamp dark"))]
    pub reason: String,
    /// From when.
    pub starts_at: Timestamp,
    /// Until when: later than now, and at most 366 days after `starts_at`.
    pub ends_at: Timestamp,
}

/// The storm to admit a use for.
#[derive(Debug, Clone, Copy, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Admission {
    /// A storm at the unit's depot, not over, during which the use holds.
    pub storm_id: Uuid,
}

/// Which uses; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Of units that stood at this depot.
    pub depot_id: Option<Uuid>,
    /// Neither over nor ended, or one of the two.
    pub open: Option<bool>,
}

/// At most `limit` uses that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<LimitedUse>> {
    let mut query = visible(tx);
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(limited_use::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(limited_use::depot_id.eq(depot_id));
    }
    let now = Timestamp::now().to_diesel();
    match filter.open {
        Some(true) => {
            query = query.filter(
                limited_use::ended_at
                    .is_null()
                    .and(limited_use::ends_at.gt(now)),
            )
        }
        Some(false) => {
            query = query.filter(
                limited_use::ended_at
                    .is_not_null()
                    .or(limited_use::ends_at.le(now)),
            )
        }
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(limited_use::id.gt(after));
    }
    let query = query
        .select(LimitedUse::as_select())
        .order(limited_use::id)
        .limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

/// One use that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<LimitedUse> {
    let query = visible(tx)
        .filter(limited_use::id.eq(id))
        .select(LimitedUse::as_select());
    Ok(query.first(&mut tx.connection()).await?)
}

fn visible<'a>(tx: &Tx<'_>) -> limited_use::BoxedQuery<'a, Pg> {
    let mut query = limited_use::table
        .filter(limited_use::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, limited_use);
    query
}

/// Allows a unit's use under stated limits; the person signed in stands for it. Lock the unit's depot's scope.
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit, [`Error::Invalid`], [`Error::Conflict`] for an id that is taken.
pub async fn allow(tx: &mut Write<'_>, unit_id: Uuid, new: &NewLimitedUse) -> Result<LimitedUse> {
    let id = fields::id(new.id)?;
    fields::line("reason", &new.reason, 1..=500)?;
    let starts_at = fields::instant("starts_at", new.starts_at)?;
    let ends_at = fields::instant("ends_at", new.ends_at)?;
    if ends_at <= starts_at {
        return Err(Error::invalid("ends_at", "must be later than starts_at"));
    }
    if ends_at > starts_at + LONGEST {
        return Err(Error::invalid(
            "ends_at",
            "must be at most 366 days after starts_at",
        ));
    }
    if ends_at <= clock::now() {
        return Err(Error::invalid(
            "ends_at",
            "is past; give the end of a use that is still to come",
        ));
    }
    let machines = machines(tx, &[unit_id]).await?;
    let machine = machines
        .get(&unit_id)
        .ok_or(Error::NotFound { what: "unit" })?;
    named(tx, &machines, unit_id, "")?;
    let limited = LimitedUse {
        id,
        unit_id,
        depot_id: machine.depot_id,
        reason: new.reason.clone(),
        named_by: tx.person_id()?,
        starts_at,
        ends_at,
        ended_at: None,
        admitted_storm: None,
        admitted_by: None,
        rev: 1,
    };
    let row = (
        limited_use::org_id.eq(tx.org_id()),
        limited_use::id.eq(limited.id),
        limited_use::unit_id.eq(limited.unit_id),
        limited_use::depot_id.eq(limited.depot_id),
        limited_use::reason.eq(&limited.reason),
        limited_use::named_by.eq(limited.named_by),
        limited_use::starts_at.eq(limited.starts_at.to_diesel()),
        limited_use::ends_at.eq(limited.ends_at.to_diesel()),
    );
    diesel::insert_into(limited_use::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    publish(tx, &limited, "allow")?;
    Ok(limited)
}

/// Admits a use for one storm, in place of the one before. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Invalid`] for a storm that cannot be, [`Error::Conflict`] where the use has ended.
pub async fn admit(tx: &mut Write<'_>, id: Uuid, admission: Admission) -> Result<LimitedUse> {
    let mut limited = running(tx, id).await?;
    let storm = match storm::find(tx, admission.storm_id).await {
        Err(Error::NotFound { .. }) => return Err(Error::no_such("storm_id")),
        found => found?,
    };
    let not = |why: &str| Err(Error::invalid("storm_id", why));
    if !storm.depots.contains(&limited.depot_id) {
        return not("does not touch the depot of this unit; name a storm that does");
    }
    if storm.cancelled_at.is_some() {
        return not("is cancelled; name a storm that is to come");
    }
    if storm.ends_at <= clock::now() {
        return not("is over; name a storm that is to come");
    }
    if storm.ends_at <= limited.starts_at || limited.ends_at <= storm.starts_at {
        return not("does not fall within this use; name a storm that does, or allow a new use");
    }
    limited.admitted_storm = Some(storm.id);
    limited.admitted_by = Some(tx.person_id()?);
    limited.rev += 1;
    store(tx, &limited).await?;
    publish(tx, &limited, "admit")?;
    Ok(limited)
}

/// Ends a use before its time. Lock the scope of its depot.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Conflict`] where it has ended.
pub async fn end(tx: &mut Write<'_>, id: Uuid) -> Result<LimitedUse> {
    let mut limited = running(tx, id).await?;
    limited.ended_at = Some(clock::now());
    limited.rev += 1;
    store(tx, &limited).await?;
    publish(tx, &limited, "end")?;
    Ok(limited)
}

async fn running(tx: &Write<'_>, id: Uuid) -> Result<LimitedUse> {
    let limited = find(tx, id).await?;
    tx.must_hold(limited.depot_id)?;
    let over = limited
        .ended_at
        .or((limited.ends_at <= clock::now()).then_some(limited.ends_at));
    match over {
        Some(ended_at) => Err(Error::conflict(
            "",
            format!("the use ended at {ended_at}; allow a new one"),
        )),
        None => Ok(limited),
    }
}

async fn store(tx: &Write<'_>, limited: &LimitedUse) -> Result<()> {
    let row = (
        limited_use::ended_at.eq(NullableTimestamp::from(limited.ended_at)),
        limited_use::admitted_storm.eq(limited.admitted_storm),
        limited_use::admitted_by.eq(limited.admitted_by),
        limited_use::rev.eq(limited.rev),
    );
    diesel::update(limited_use::table.find((tx.org_id(), limited.id)))
        .set(row)
        .execute(&mut tx.connection())
        .await?;
    Ok(())
}

fn publish(tx: &mut Write<'_>, limited: &LimitedUse, action: &'static str) -> Result<()> {
    tx.publish(
        limited.depot_id,
        kind::LIMITED_USE,
        limited.id,
        limited.rev,
        limited,
    )?;
    tx.mark(limited.depot_id);
    tx.audit(
        limited.depot_id,
        action,
        kind::LIMITED_USE,
        limited.id,
        json(limited)?,
    );
    Ok(())
}
