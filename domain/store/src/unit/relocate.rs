//! A unit that moves to another depot takes along what is true of it now: its parts, open findings, hold tags, limited
//! uses, open work orders, deferrals and computed state. Its history (inspections, meter readings, parts that were) stays where it was made, and
//! readable.

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde_json::Value;
use uuid::Uuid;

use super::Unit;
use crate::feed::{Write, kind};
use crate::prepared::prepared;
use crate::{Error, Result, Tx};

/// The rows that name the depot beside the unit, while they are open.
const OPEN: [&str; 6] = [
    "update finding set depot_id = $3, rev = rev + 1 where org_id = $1 and unit_id = $2 and closed_at is null",
    "update hold set depot_id = $3, rev = rev + 1 where org_id = $1 and unit_id = $2 and lifted_at is null",
    "update limited_use set depot_id = $3, rev = rev + 1 where org_id = $1 and unit_id = $2 and ended_at is null",
    "update work_order set depot_id = $3, rev = rev + 1 where org_id = $1 and unit_id = $2 and ended_at is null",
    "update deferral set depot_id = $3, rev = rev + 1 where org_id = $1 and unit_id = $2 and ended_at is null",
    "update unit_state set depot_id = $3 where org_id = $1 and unit_id = $2",
];

/// What the feed of the old depot holds of them.
const DOCUMENTS: &str = "
    select e.kind, e.object_id, e.rev, e.doc from feed_entry e
    join (
        select 'unit-state' as kind, $2 as id
        union all
        select 'fitted-part', id from fitted_part where org_id = $1 and unit_id = $2 and removed_at is null
        union all
        select 'finding', id from finding where org_id = $1 and unit_id = $2 and closed_at is null
        union all
        select 'hold', id from hold where org_id = $1 and unit_id = $2 and lifted_at is null
        union all
        select 'limited-use', id from limited_use where org_id = $1 and unit_id = $2 and ended_at is null
        union all
        select 'work-order', id from work_order where org_id = $1 and unit_id = $2 and ended_at is null
        union all
        select 'deferral', id from deferral where org_id = $1 and unit_id = $2 and ended_at is null
    ) current on e.kind = current.kind and e.object_id = current.id
    where e.org_id = $1 and e.scope_id = $3 and not e.deleted";

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Document {
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = SqlUuid)]
    object_id: Uuid,
    #[diesel(sql_type = BigInt)]
    rev: i64,
    #[diesel(sql_type = Text)]
    doc: String,
}

/// Moves what is true of `unit`, which is at its new depot already, out of the old one's scope. Both are computed anew.
pub(super) async fn relocate(tx: &mut Write<'_>, unit: &Unit, old_depot_id: Uuid) -> Result<()> {
    for open in OPEN {
        statement(tx, open, unit.id, unit.depot_id)
            .execute(&mut tx.connection())
            .await?;
    }
    let documents: Vec<Document> = statement(tx, DOCUMENTS, unit.id, old_depot_id)
        .load(&mut tx.connection())
        .await?;
    for document in documents {
        let kind = MOVES
            .into_iter()
            .find(|kind| *kind == document.kind)
            .ok_or_else(|| Error::internal(format!("a {} does not move", document.kind)))?;
        let (rev, doc) = at_depot(&document, unit.depot_id)?;
        tx.publish(unit.depot_id, kind, document.object_id, rev, &doc)?;
        tx.moved(old_depot_id, kind, document.object_id, rev)?;
    }
    tx.moved(old_depot_id, kind::UNIT, unit.id, unit.rev)?;
    tx.mark(old_depot_id);
    Ok(())
}

const MOVES: [&str; 7] = [
    kind::UNIT_STATE,
    kind::FITTED_PART,
    kind::FINDING,
    kind::HOLD,
    kind::LIMITED_USE,
    kind::WORK_ORDER,
    kind::DEFERRAL,
];

/// The document with the new depot in it, one version on; as it is where it names no depot.
fn at_depot(document: &Document, depot_id: Uuid) -> Result<(i64, Value)> {
    let mut doc: Value = serde_json::from_str(&document.doc).map_err(Error::internal)?;
    let mut rev = document.rev;
    if let Some(depot) = doc.get_mut("depot_id") {
        *depot = depot_id.to_string().into();
        rev += 1;
        if let Some(shown) = doc.get_mut("rev") {
            *shown = rev.into();
        }
    }
    Ok((rev, doc))
}

fn statement<'a>(
    tx: &Tx<'_>,
    sql: &'static str,
    unit_id: Uuid,
    depot_id: Uuid,
) -> crate::Prepared<impl diesel::query_builder::QueryFragment<diesel::pg::Pg> + 'a> {
    prepared(
        diesel::sql_query(sql)
            .bind::<SqlUuid, _>(tx.org_id())
            .bind::<SqlUuid, _>(unit_id)
            .bind::<SqlUuid, _>(depot_id),
    )
}
