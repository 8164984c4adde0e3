//! Booking movements: the one way they get in, one at a time or hundreds.

use std::collections::{BTreeMap, BTreeSet};

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use serde_json::json;
use uuid::Uuid;

use super::draft::{at, draft, known};
use super::insert::insert;
use super::level::refresh;
use super::{BookedMoves, NewStockMove, Place, Row, StockMove, reachable};
use crate::feed::Write;
use crate::schema::{depot, work_order as orders_table};
use crate::{Error, Result, Tx, clock, work_order};

/// What the audit calls a movement.
const STOCK_MOVE: &str = "stock-move";

/// The scopes to lock before these are booked at a depot: its own, those that parts are moved to, and those of what
/// they correct and are for.
///
/// # Errors
/// [`Error::NotFound`] for the depot, [`Error::Invalid`] for another that does not exist for the tenant; the field
/// begins with the place in the list: `[0].to_depot_id`.
pub async fn scopes(tx: &Tx<'_>, depot_id: Uuid, new: &[NewStockMove]) -> Result<Vec<Uuid>> {
    crate::depot::find(tx, depot_id).await?;
    let to: Vec<Uuid> = new.iter().filter_map(|new| new.to_depot_id).collect();
    let corrects: Vec<Uuid> = new.iter().filter_map(|new| new.corrects).collect();
    let mut scopes = vec![depot_id];
    if !to.is_empty() {
        let there = depots(tx, &to).await?;
        for (index, new) in new.iter().enumerate() {
            if new.to_depot_id.is_some_and(|to| !there.contains(&to)) {
                return Err(Error::no_such(at(index, "to_depot_id")));
            }
        }
        scopes.extend(there);
    }
    let corrected = super::booked(tx, depot_id, &corrects).await?;
    for (old, _) in &corrected {
        if let Some(index) = new.iter().position(|new| new.corrects == Some(old.id)) {
            reachable(tx, old, &at(index, "corrects"))?;
        }
        scopes.extend(old.to_depot_id);
    }
    let named = new.iter().filter_map(|new| new.work_order_id);
    let before = corrected.iter().filter_map(|(old, _)| old.work_order_id);
    let asked: Vec<Uuid> = named.chain(before).collect();
    scopes.extend(orders(tx, &asked).await?.into_values());
    Ok(scopes)
}

/// Those of the depots that exist for the tenant.
async fn depots(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeSet<Uuid>> {
    let seen = ids.iter().filter(|id| tx.tenant().depots.contains(**id));
    let found: Vec<Uuid> = depot::table
        .filter(depot::org_id.eq(tx.org_id()))
        .filter(depot::id.eq_any(seen))
        .select(depot::id)
        .load(&mut tx.connection())
        .await?;
    Ok(found.into_iter().collect())
}

/// Those of these work orders that the tenant may see, with their depots.
pub(super) async fn orders(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeMap<Uuid, Uuid>> {
    if ids.is_empty() {
        return Ok(BTreeMap::new());
    }
    let found: Vec<(Uuid, Uuid)> = orders_table::table
        .filter(orders_table::org_id.eq(tx.org_id()))
        .filter(orders_table::id.eq_any(ids))
        .select((orders_table::id, orders_table::depot_id))
        .load(&mut tx.connection())
        .await?;
    Ok(found
        .into_iter()
        .filter(|(_, depot_id)| tx.tenant().depots.contains(*depot_id))
        .collect())
}

/// Books one movement at a depot. Lock its [`scopes`].
///
/// # Errors
/// As [`record_many`], the fields named without the place in the list.
pub async fn record(tx: &mut Write<'_>, depot_id: Uuid, new: &NewStockMove) -> Result<BookedMoves> {
    record_many(tx, depot_id, std::slice::from_ref(new))
        .await
        .map_err(Error::of_the_first)
}

/// Books movements at a depot, hundreds at a time if need be, in any order; the person is the tenant. Lock their
/// [`scopes`].
///
/// # Errors
/// [`Error::Invalid`] for what is impossible in itself and for ids that are not there; the field begins with the place
/// in the list: `[3].quantity`. [`Error::Conflict`] for an id that is taken or a movement that is corrected already.
pub async fn record_many(
    tx: &mut Write<'_>,
    depot_id: Uuid,
    new: &[NewStockMove],
) -> Result<BookedMoves> {
    let (booked, orders) = append(tx, depot_id, new).await?;
    // What was used for an order is shown on it.
    work_order::touch(tx, &orders).await?;
    Ok(booked)
}

/// The same without publishing the orders that these are for, for one that is being changed.
pub(crate) async fn book(tx: &mut Write<'_>, depot_id: Uuid, new: &[NewStockMove]) -> Result<()> {
    append(tx, depot_id, new).await.map(drop)
}

/// Appends movements to the ledger; answers with them, and with the orders they bear on.
async fn append(
    tx: &mut Write<'_>,
    depot_id: Uuid,
    new: &[NewStockMove],
) -> Result<(BookedMoves, Vec<Uuid>)> {
    tx.must_hold(depot_id)?;
    let received_at = clock::now();
    let known = known(tx, depot_id, new).await?;
    for order_depot_id in known.orders.values() {
        tx.must_hold(*order_depot_id)?;
    }
    let mut rows: Vec<Row> = Vec::with_capacity(new.len());
    let mut corrected = BTreeSet::new();
    for (index, new) in new.iter().enumerate() {
        if new.corrects.is_some_and(|id| !corrected.insert(id)) {
            return Err(Error::conflict(
                at(index, "corrects"),
                "is corrected twice at once; give one correction",
            ));
        }
        let drafted = draft(tx, depot_id, new, &known, received_at)
            .map_err(|error| error.within(&format!("[{index}]")))?;
        rows.extend(drafted);
    }
    insert(tx, &rows).await?;
    let old = known.corrected.iter().map(|(old, _)| old);
    let places: BTreeSet<Place> = rows.iter().chain(old).flat_map(Row::places).collect();
    for place in &places {
        tx.must_hold(place.depot_id)?;
        tx.mark(place.depot_id);
    }
    let levels = refresh(tx, &places).await?;
    for row in &rows {
        let what = json!({
            "move": row.kind,
            "part_id": row.part_id,
            "quantity": row.quantity,
            "lot": row.lot(),
            "to_depot_id": row.to_depot_id,
            "work_order_id": row.work_order_id,
            "corrects": row.corrects,
            "flags": row.flags,
        });
        tx.audit(depot_id, "book", STOCK_MOVE, row.id, what);
    }
    let moves: Vec<StockMove> = rows
        .into_iter()
        .map(|row| row.shown(tx, depot_id, None))
        .collect::<Result<_>>()?;
    let booked = BookedMoves {
        moves,
        levels: levels
            .into_iter()
            .filter(|level| level.depot_id == depot_id)
            .collect(),
    };
    Ok((booked, known.orders.into_keys().collect()))
}
