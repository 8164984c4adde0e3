//! Phones. One is enrolled with a code that somebody makes for it ([`code`]), and from then on known by the key pair that
//! it made for itself: its session goes on only with a proof of that key. A phone that is lost is shut out by a word; what
//! it had not sent by then is kept for a person ([`unsent`]).
//!
//! A phone is one person's, or shared: then it hangs at a depot, acts for itself as an operator there, and for any operator
//! of that depot who picks their name on it.

pub mod code;
mod enrol;
pub mod unsent;
mod wider;

pub use enrol::{Enrolled, NewDevice, enrol};
pub(crate) use wider::end_unanswered;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::NullableTimestamp;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::feed::Write;
use crate::json::json;
use crate::schema::{device, refresh_token};
use crate::{Depots, Error, Result, Tx, clock, fields, person};

/// What the audit calls a phone.
const KIND: &str = "device";

/// A phone.
#[derive(Debug, Clone, PartialEq, Serialize, Queryable, Selectable)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[diesel(table_name = device, check_for_backend(Pg))]
pub struct Device {
    /// Its id.
    pub id: Uuid,
    /// What people call it.
    pub name: String,
    /// Whose it is; of a shared one the operator that it is itself.
    pub person_id: Uuid,
    /// Where it hangs, if the operators of a depot share it.
    pub depot_id: Option<Uuid>,
    /// The thumbprint of its public key (RFC 7638, SHA-256).
    pub thumbprint: String,
    /// When it was enrolled.
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    pub enrolled_at: Timestamp,
    /// Who made the code for it: a person.
    pub enrolled_by: Uuid,
    /// When it was shut out.
    #[diesel(deserialize_as = NullableTimestamp)]
    pub revoked_at: Option<Timestamp>,
    /// By whom: a person.
    pub revoked_by: Option<Uuid>,
    /// Why.
    pub revoked_because: Option<String>,
    /// Its version; the ETag shows the same.
    pub rev: i64,
}

/// Why a phone is shut out.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = DeviceRevocation))]
#[serde(deny_unknown_fields)]
pub struct Revocation {
    /// 1 to 500 characters.
    #[cfg_attr(feature = "schema", schema(example = "lost on the last round"))]
    pub because: String,
}

/// Which phones; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this person.
    pub person_id: Option<Uuid>,
    /// Shared at this depot.
    pub depot_id: Option<Uuid>,
    /// Welcome, or shut out.
    pub welcome: Option<bool>,
}

/// At most `limit` phones that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<Device>> {
    let mut query = visible(tx);
    if let Some(person_id) = filter.person_id {
        query = query.filter(device::person_id.eq(person_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(device::depot_id.eq(depot_id));
    }
    match filter.welcome {
        Some(true) => query = query.filter(device::revoked_at.is_null()),
        Some(false) => query = query.filter(device::revoked_at.is_not_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(device::id.gt(after));
    }
    let query = query
        .select(Device::as_select())
        .order(device::id)
        .limit(limit);
    Ok(query.load(&mut tx.connection()).await?)
}

/// One phone that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<Device> {
    let query = visible(tx)
        .filter(device::id.eq(id))
        .select(Device::as_select());
    Ok(query.first(&mut tx.connection()).await?)
}

/// One's own, those shared at a depot granted, and those of people who work at no depot but granted ones.
fn visible<'a>(tx: &Tx<'_>) -> device::BoxedQuery<'a, Pg> {
    let query = device::table
        .filter(device::org_id.eq(tx.org_id()))
        .into_boxed();
    let Depots::Some(granted) = &tx.tenant().depots else {
        return query;
    };
    let granted: Vec<Uuid> = granted.iter().copied().collect();
    let own = device::person_id
        .nullable()
        .is_not_distinct_from(tx.tenant().person_id);
    let works_elsewhere = diesel::dsl::sql::<Bool>(
        "exists (select from person p where p.org_id = device.org_id and p.id = device.person_id and p.all_depots)
         or not exists (select from person_depot d where d.org_id = device.org_id and d.person_id = device.person_id)
         or exists (select from person_depot d
                    where d.org_id = device.org_id and d.person_id = device.person_id and not d.depot_id = any(",
    )
    .bind::<Array<SqlUuid>, _>(granted)
    .sql("))");
    query.filter(own.or(diesel::dsl::not(works_elsewhere)))
}

/// Shuts a phone out: its session ends, and within seconds what it holds opens nothing. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Invalid`]; [`Error::Forbidden`] for the phone of somebody whom the tenant does not answer
/// for; [`Error::Conflict`] for one that was shut out before.
pub async fn revoke(tx: &mut Write<'_>, id: Uuid, why: &Revocation) -> Result<Device> {
    fields::line("because", &why.because, 1..=500)?;
    let mut one = find(tx, id).await?;
    if let Some(at) = one.revoked_at {
        return Err(Error::conflict(
            "",
            format!("the phone was shut out at {at}"),
        ));
    }
    // A shared phone is nobody's; a person's own is for them and for whoever answers for them.
    if one.depot_id.is_none() {
        let owner = person::find(tx, one.person_id).await?;
        if !code::answers_for(tx.tenant(), &owner) {
            return Err(Error::Forbidden);
        }
    }
    one.revoked_at = Some(clock::now());
    one.revoked_by = Some(tx.person_id()?);
    one.revoked_because = Some(why.because.clone());
    one.rev += 1;
    let session: Uuid = diesel::update(device::table.find((tx.org_id(), id)))
        .set((
            device::revoked_at.eq(NullableTimestamp::from(one.revoked_at)),
            device::revoked_by.eq(one.revoked_by),
            device::revoked_because.eq(&one.revoked_because),
            device::rev.eq(one.rev),
        ))
        .returning(device::session)
        .get_result(&mut tx.connection())
        .await?;
    // A token that is being exchanged just now is exchanged before this, and ended with the rest, or not at all.
    person::lock_sessions(tx, &[session]).await?;
    diesel::update(refresh_token::table)
        .filter(refresh_token::org_id.eq(tx.org_id()))
        .filter(refresh_token::family.eq(session))
        .filter(refresh_token::revoked_at.is_null())
        .set(refresh_token::revoked_at.eq(diesel::dsl::now))
        .execute(&mut tx.connection())
        .await?;
    let scope = one.depot_id.unwrap_or(tx.org_id());
    tx.audit(scope, "revoke", KIND, id, json(&one)?);
    Ok(one)
}
