//! What a list of spares to keep and to buy is made from: the facts of depots, the parts of the list that their sheets
//! name, and their shelves.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, BigInt, Date as SqlDate, Nullable, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::buy::{Catalogue, Cost, Listed, ShelfLot, words};
use rimeyard_rules::facts::DepotFacts;
use uuid::Uuid;

use crate::part::{self, Part};
use crate::{Error, Result, Tx, facts, prepared};

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Counted {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = BigInt)]
    machines: i64,
}

/// How many machines in use each of these depots has, or each that is granted; by depot id.
///
/// # Errors
/// [`Error::NotFound`] where one of those named is not granted.
pub async fn machines(tx: &Tx<'_>, named: Option<&BTreeSet<Uuid>>) -> Result<Vec<(Uuid, i64)>> {
    let ids = named.map(|named| named.iter().copied().collect::<Vec<_>>());
    let rows: Vec<Counted> = prepared(
        diesel::sql_query(
            "select d.id as depot_id, count(u.id) as machines
             from depot d
             left join unit u on u.org_id = d.org_id and u.depot_id = d.id and u.retired_at is null
             where d.org_id = $1 and ($2::uuid[] is null or d.id = any($2)) and ($3::uuid[] is null or d.id = any($3))
             group by d.id order by d.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<Array<SqlUuid>>, _>(ids),
    )
    .load(&mut tx.connection())
    .await?;
    if named.is_some_and(|named| named.len() != rows.len()) {
        return Err(Error::NotFound { what: "depot" });
    }
    Ok(rows
        .into_iter()
        .map(|row| (row.depot_id, row.machines))
        .collect())
}

/// The facts of these depots as of an instant, and the parts of the list that their machines may need: what their sheets
/// name, what their open orders want, and what is in the kits among these.
///
/// # Errors
/// Those of [`facts::load`].
pub async fn supply(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    as_of: Timestamp,
) -> Result<(Vec<DepotFacts>, Catalogue)> {
    let depots = facts::load(tx, depot_ids, as_of).await?;
    let sheets = depots.iter().flat_map(|depot| depot.sheets.values());
    let names: BTreeSet<&String> = sheets.flat_map(words).collect();
    let names: Vec<String> = names.into_iter().cloned().collect();
    let words = part::named(tx, &names).await?;
    let wanted = depots.iter().flat_map(|depot| &depot.wanted);
    let ids: BTreeSet<Uuid> = wanted
        .map(|part| part.part_id)
        .chain(words.values().copied())
        .collect();
    let mut parts = listed(tx, ids).await?;
    let in_kits = parts.values().flat_map(|part| &part.kit).map(|(id, _)| *id);
    let in_kits: BTreeSet<Uuid> = in_kits.filter(|id| !parts.contains_key(id)).collect();
    parts.extend(listed(tx, in_kits).await?);
    Ok((depots, Catalogue { parts, words }))
}

/// These parts of the list.
///
/// # Errors
/// Those of the database.
pub async fn listed(tx: &Tx<'_>, ids: BTreeSet<Uuid>) -> Result<BTreeMap<Uuid, Listed>> {
    let parts = part::with_ids(tx, &ids.into_iter().collect::<Vec<_>>()).await?;
    Ok(parts
        .into_iter()
        .map(|(id, part)| (id, of_part(part)))
        .collect())
}

fn of_part(part: Part) -> Listed {
    let kit = part.kit.unwrap_or_default();
    Listed {
        id: part.id,
        number: part.number,
        name: part.name,
        unit: part.unit,
        pack_size: part.pack_size.into(),
        lead_time_days: part.lead_time_days,
        price: part.price.map(|price| Cost {
            amount_minor: price.amount_minor,
            currency: price.currency,
        }),
        shelf_life_days: part.shelf_life_days,
        kit: kit
            .into_iter()
            .map(|content| (content.part_id, content.quantity))
            .collect(),
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct LotRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
    #[diesel(sql_type = BigInt)]
    quantity: i64,
}

/// What there is of these parts on these depots' shelves, by when it was made. Depots that are not granted have none.
///
/// # Errors
/// Those of the database.
pub async fn shelves(tx: &Tx<'_>, depot_ids: &[Uuid], part_ids: &[Uuid]) -> Result<Vec<ShelfLot>> {
    let rows: Vec<LotRow> = prepared(
        diesel::sql_query(
            "select depot_id, part_id, made_on, sum(quantity)::int8 as quantity
             from stock_level
             where org_id = $1 and depot_id = any($2) and part_id = any($3)
               and ($4::uuid[] is null or depot_id = any($4))
             group by depot_id, part_id, made_on having sum(quantity) <> 0
             order by depot_id, part_id, made_on",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids)
        .bind::<Array<SqlUuid>, _>(part_ids)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let lots = rows.into_iter().map(|row| ShelfLot {
        depot_id: row.depot_id,
        part_id: row.part_id,
        made_on: row.made_on,
        quantity: row.quantity,
    });
    Ok(lots.collect())
}
