//! Which depots a person is granted.

use std::collections::BTreeSet;

use diesel::prelude::*;
use diesel::sql_types::{Array, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::{find, json, publish};
use crate::change::difference;
use crate::feed::{Write, kind};
use crate::schema::{depot, person, person_depot};
use crate::{Depots, Error, Result, Tx, prepared};

/// So many depots can be named for one person; beyond that, grant all.
const DEPOTS_MAX: usize = 1_000;

/// Grants the person who made a depot what they made, where not every depot is granted them. Lock the organisation's
/// scope.
pub(crate) async fn grant_made(tx: &mut Write<'_>, depot_id: Uuid) -> Result<()> {
    let (Some(id), Depots::Some(_)) = (tx.tenant().person_id, &tx.tenant().depots) else {
        return Ok(());
    };
    let before = find(tx, id).await?;
    let mut person = before.clone();
    person.depots.insert(depot_id);
    person.rev += 1;
    diesel::update(person::table.find((tx.org_id(), id)))
        .set(person::rev.eq(person.rev))
        .execute(&mut tx.connection())
        .await?;
    grant(tx, id, &before.depots, &person.depots).await?;
    publish(tx, &person)?;
    let what = difference(&json(&before)?, &json(&person)?);
    tx.audit(tx.org_id(), "update", kind::PERSON, id, what);
    Ok(())
}

pub(super) async fn check_depots(tx: &Tx<'_>, depots: &BTreeSet<Uuid>) -> Result<()> {
    if depots.len() > DEPOTS_MAX {
        return Err(Error::invalid(
            "depots",
            format!("must name at most {DEPOTS_MAX}; grant all_depots instead"),
        ));
    }
    let known: Vec<Uuid> = depot::table
        .filter(depot::org_id.eq(tx.org_id()).and(depot::id.eq_any(depots)))
        .select(depot::id)
        .load(&mut tx.connection())
        .await?;
    match depots.iter().position(|id| !known.contains(id)) {
        Some(index) => Err(Error::invalid(
            format!("depots[{index}]"),
            "names a depot that does not exist",
        )),
        None => Ok(()),
    }
}

pub(super) async fn grant(
    tx: &Tx<'_>,
    id: Uuid,
    before: &BTreeSet<Uuid>,
    after: &BTreeSet<Uuid>,
) -> Result<()> {
    let gone: Vec<Uuid> = before.difference(after).copied().collect();
    let added: Vec<Uuid> = after.difference(before).copied().collect();
    if !gone.is_empty() {
        diesel::delete(person_depot::table)
            .filter(
                person_depot::org_id
                    .eq(tx.org_id())
                    .and(person_depot::person_id.eq(id)),
            )
            .filter(person_depot::depot_id.eq_any(gone))
            .execute(&mut tx.connection())
            .await?;
    }
    if !added.is_empty() {
        prepared(
            diesel::sql_query(
                "insert into person_depot (org_id, person_id, depot_id) select $1, $2, d from unnest($3::uuid[]) as d",
            )
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(id)
            .bind::<Array<SqlUuid>, _>(added),
        )
        .execute(&mut tx.connection())
        .await?;
    }
    Ok(())
}

pub(super) async fn granted(tx: &Tx<'_>, people: &[Uuid]) -> Result<Vec<(Uuid, Uuid)>> {
    Ok(person_depot::table
        .filter(
            person_depot::org_id
                .eq(tx.org_id())
                .and(person_depot::person_id.eq_any(people)),
        )
        .select((person_depot::person_id, person_depot::depot_id))
        .load(&mut tx.connection())
        .await?)
}
