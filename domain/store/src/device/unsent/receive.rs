//! It comes.

use std::collections::{BTreeMap, BTreeSet};

use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde_json::Value;
use uuid::Uuid;

use super::super::KIND as DEVICE;
use super::{NewUnsent, Outbox, Received};
use crate::door::Sender;
use crate::feed::{self, Write};
use crate::json::json;
use crate::schema::{device, person, person_depot, unit, unsent};
use crate::{Database, Error, Result, Role, Tenant, fields, prepared};

/// So much comes at a time.
const ENTRIES_MAX: usize = 200;
/// So much is kept of one phone: years of one that works hard.
const KEPT_MAX: i64 = 20_000;
/// Bytes of all of it together: those years at 3 KiB each, so that nobody fills the disk with a phone that is theirs no more.
const KEPT_BYTES_MAX: i64 = 64 * 1024 * 1024;
/// Bytes of one entry, as of a document on the feed.
const BODY_MAX: usize = 65_536;

/// Keeps what a phone had not sent. `None` where it is welcome and writes by the ordinary routes.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] where too much of it is here.
pub async fn receive(
    database: &Database,
    phone: Sender,
    outbox: &Outbox,
    request_id: Option<Uuid>,
) -> Result<Option<Received>> {
    check(outbox)?;
    let of_others = outbox.entries.iter().any(|it| it.operator_id.is_some());
    if phone.welcome && !of_others {
        return Ok(None);
    }
    let tenant = Tenant {
        person_id: Some(phone.answered_by),
        request_id,
        session: Some(phone.session),
        ..Tenant::system(phone.org_id)
    };
    feed::write(database, &tenant, &[phone.org_id], async |tx| {
        let hangs: Option<Uuid> = device::table
            .find((tx.org_id(), phone.device_id))
            .select(device::depot_id)
            .first(&mut tx.connection())
            .await?;
        if phone.welcome {
            // A person's own phone is in nobody else's hands.
            let Some(depot_id) = hangs else {
                return Ok(None);
            };
            let operators = operators(tx, depot_id).await?;
            check_operators(&outbox.entries, &operators)?;
        }
        let received = keep(tx, phone.device_id, hangs, &outbox.entries).await?;
        Ok(Some(received))
    })
    .await
}

fn check(outbox: &Outbox) -> Result<()> {
    if outbox.entries.is_empty() {
        return Err(Error::invalid("entries", "must have 1 to 200 items"));
    }
    fields::count("entries", &outbox.entries, ENTRIES_MAX)?;
    for (index, entry) in outbox.entries.iter().enumerate() {
        let field = |name: &str| format!("entries[{index}].{name}");
        if entry.id.get_version_num() != 7 {
            return Err(Error::invalid(
                field("id"),
                "must be a UUID of version 7 (RFC 9562)",
            ));
        }
        fields::line(&field("what"), &entry.what, 1..=60)?;
        let body = entry.body.get();
        // It is shown again as a value, so it must be readable as one.
        let readable = serde_json::from_str::<Value>(body).is_ok_and(|value| value.is_object());
        if body.len() > BODY_MAX || !readable || body.contains("\\u0000") {
            return Err(Error::invalid(
                field("body"),
                format!("must be an object of at most {BODY_MAX} bytes, without NUL"),
            ));
        }
    }
    Ok(())
}

/// Who may act on a phone that hangs there.
async fn operators(tx: &Write<'_>, depot_id: Uuid) -> Result<BTreeSet<Uuid>> {
    let granted = person_depot::table
        .filter(person_depot::org_id.eq(tx.org_id()))
        .filter(person_depot::depot_id.eq(depot_id))
        .select(person_depot::person_id);
    let operators: Vec<Uuid> = person::table
        .filter(person::org_id.eq(tx.org_id()))
        .filter(person::active)
        .filter(person::role.eq(Role::Operator.as_str()))
        .filter(person::all_depots.or(person::id.eq_any(granted)))
        .select(person::id)
        .load(&mut tx.connection())
        .await?;
    Ok(operators.into_iter().collect())
}

/// A phone that is welcome brings nothing here that could be written as somebody's word.
fn check_operators(entries: &[NewUnsent], operators: &BTreeSet<Uuid>) -> Result<()> {
    for (index, entry) in entries.iter().enumerate() {
        if entry.operator_id.is_none_or(|id| operators.contains(&id)) {
            return Err(Error::invalid(
                format!("entries[{index}].operator_id"),
                "must name who may no longer act on this phone; what is of others it writes by the ordinary routes",
            ));
        }
    }
    Ok(())
}

#[derive(QueryableByName)]
struct Here {
    #[diesel(sql_type = BigInt)]
    entries: i64,
    #[diesel(sql_type = BigInt)]
    bytes: i64,
}

async fn keep(
    tx: &mut Write<'_>,
    device_id: Uuid,
    hangs: Option<Uuid>,
    entries: &[NewUnsent],
) -> Result<Received> {
    let ids: Vec<Uuid> = entries.iter().map(|entry| entry.id).collect();
    let known: Vec<Uuid> = unsent::table
        .filter(unsent::org_id.eq(tx.org_id()))
        .filter(unsent::id.eq_any(&ids))
        .select(unsent::id)
        .load(&mut tx.connection())
        .await?;
    let new: BTreeMap<Uuid, &NewUnsent> = entries
        .iter()
        .filter(|entry| !known.contains(&entry.id))
        .map(|entry| (entry.id, entry))
        .collect();
    let received = Received {
        kept: new.len(),
        known: entries.len() - new.len(),
    };
    // The answer was lost: there is nothing to keep, and room for that there always is.
    if new.is_empty() {
        return Ok(received);
    }
    check_room(tx, device_id, &new).await?;
    insert(tx, device_id, hangs, &new).await?;
    let what = json(&received)?;
    let scope = hangs.unwrap_or(tx.org_id());
    tx.audit(scope, "keep unsent", DEVICE, device_id, what);
    Ok(received)
}

async fn check_room(
    tx: &Write<'_>,
    device_id: Uuid,
    new: &BTreeMap<Uuid, &NewUnsent>,
) -> Result<()> {
    let here: Here = prepared(
        diesel::sql_query(
            "select count(*) as entries, coalesce(sum(octet_length(body)), 0)::bigint as bytes
             from unsent where org_id = $1 and device_id = $2",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(device_id),
    )
    .get_result(&mut tx.connection())
    .await?;
    let bytes: usize = new.values().map(|entry| entry.body.get().len()).sum();
    if here.entries + new.len() as i64 > KEPT_MAX || here.bytes + bytes as i64 > KEPT_BYTES_MAX {
        return Err(Error::conflict(
            "entries",
            format!(
                "of one phone at most {KEPT_MAX} of {KEPT_BYTES_MAX} bytes together are kept, and {} of {} are here",
                here.entries, here.bytes
            ),
        ));
    }
    Ok(())
}

async fn insert(
    tx: &Write<'_>,
    device_id: Uuid,
    hangs: Option<Uuid>,
    new: &BTreeMap<Uuid, &NewUnsent>,
) -> Result<()> {
    let named = |entry: &NewUnsent| {
        let body: Value = serde_json::from_str(entry.body.get()).ok()?;
        body.get("unit_id")?.as_str()?.parse().ok()
    };
    let units: Vec<Option<Uuid>> = new.values().map(|entry| named(entry)).collect();
    let stand: Vec<(Uuid, Uuid)> = unit::table
        .filter(unit::org_id.eq(tx.org_id()))
        .filter(unit::id.eq_any(units.iter().flatten()))
        .select((unit::id, unit::depot_id))
        .load(&mut tx.connection())
        .await?;
    let stand: BTreeMap<Uuid, Uuid> = stand.into_iter().collect();
    let depots = units
        .iter()
        .map(|unit| unit.and_then(|unit| stand.get(&unit).copied()).or(hangs));
    let operators = new.values().map(|entry| entry.operator_id);
    prepared(
        diesel::sql_query(
            "insert into unsent (org_id, id, device_id, depot_id, operator_id, what, body)
             select $1, e.id, $2, e.depot_id, e.operator_id, e.what, e.body
             from unnest($3::uuid[], $4::uuid[], $5::uuid[], $6::text[], $7::text[])
                 as e (id, depot_id, operator_id, what, body)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(device_id)
        .bind::<Array<SqlUuid>, _>(new.keys().copied().collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlUuid>>, _>(depots.collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlUuid>>, _>(operators.collect::<Vec<_>>())
        .bind::<Array<Text>, _>(new.values().map(|entry| &entry.what).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(
            new.values()
                .map(|entry| entry.body.get())
                .collect::<Vec<_>>(),
        ),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}
