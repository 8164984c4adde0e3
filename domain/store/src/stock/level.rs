//! Levels: what the ledger comes to at each place. Worked out by Postgres from the last count on, for the places that a
//! commit's movements bear on, under the lock of their depots' scopes.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::sql_types::{Array, BigInt, Date as SqlDate, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;
use serde::Serialize;
use uuid::Uuid;

use super::{Lot, Place, lot_of};
use crate::feed::{Write, kind};
use crate::{Result, Tx, prepared};

/// The flag of a level under nothing.
pub const SHORT_ON_PAPER: &str = "short on paper";

/// How many of a part, or of one lot of it, are on a depot's shelf.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct StockLevel {
    /// Its id.
    pub id: Uuid,
    /// The depot.
    pub depot_id: Uuid,
    /// The part.
    pub part_id: Uuid,
    /// The lot; null where the part has none.
    pub lot: Option<Lot>,
    /// How many, in the part's unit of count. Less than nothing where more was taken than was ever booked in.
    pub quantity: i64,
    /// `short on paper` where it is less than nothing: count the shelf.
    pub flags: Vec<&'static str>,
    /// Its version.
    pub rev: i64,
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
pub(super) struct LevelRow {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(embed)]
    pub(super) place: Place,
    #[diesel(sql_type = BigInt)]
    quantity: i64,
    #[diesel(sql_type = BigInt)]
    rev: i64,
}

impl From<LevelRow> for StockLevel {
    fn from(row: LevelRow) -> Self {
        let short = (row.quantity < 0).then_some(SHORT_ON_PAPER);
        StockLevel {
            id: row.id,
            depot_id: row.place.depot_id,
            part_id: row.place.part_id,
            lot: lot_of(&row.place.lot_code, row.place.made_on),
            quantity: row.quantity,
            flags: short.into_iter().collect(),
            rev: row.rev,
        }
    }
}

/// Brings the levels at these places up to what the ledger says, publishes those that changed and answers with them.
pub(super) async fn refresh(
    tx: &mut Write<'_>,
    places: &BTreeSet<Place>,
) -> Result<Vec<StockLevel>> {
    let column = |of: fn(&Place) -> Uuid| places.iter().map(of).collect::<Vec<_>>();
    let changed: Vec<LevelRow> = prepared(
        diesel::sql_query(
            "with place as (
                 select * from unnest($2::uuid[], $3::uuid[], $4::uuid[], $5::text[], $6::date[])
                     as p (id, depot_id, part_id, lot_code, made_on)
             ), moved as (
                 select p.id as place, m.id, m.took_effect_at as at, m.move, m.quantity, false as arrives
                 from place p join stock_move m
                   on m.org_id = $1 and m.depot_id = p.depot_id and m.part_id = p.part_id
                   and m.lot_code = p.lot_code and m.made_on is not distinct from p.made_on
                 where not exists (select from stock_move c where c.org_id = m.org_id and c.corrects = m.id)
                 union all
                 select p.id, m.id, m.took_effect_at, m.move, m.quantity, true
                 from place p join stock_move m
                   on m.org_id = $1 and m.to_depot_id = p.depot_id and m.part_id = p.part_id
                   and m.lot_code = p.lot_code and m.made_on is not distinct from p.made_on
                 where not exists (select from stock_move c where c.org_id = m.org_id and c.corrects = m.id)
             ), counted as (
                 select distinct on (place) place, at, id, quantity from moved where move = 'counted'
                 order by place, at desc, id desc
             ), level as (
                 select p.*, coalesce(c.quantity, 0) + coalesce((
                     select sum(case when m.arrives or m.move = 'received' then m.quantity else -m.quantity end)
                     from moved m
                     where m.place = p.id and m.move <> 'counted' and (c.at is null or (m.at, m.id) > (c.at, c.id))
                 ), 0)::bigint as quantity
                 from place p left join counted c on c.place = p.id
             )
             insert into stock_level as old (org_id, id, depot_id, part_id, lot_code, made_on, quantity)
             select $1, id, depot_id, part_id, lot_code, made_on, quantity from level
             on conflict (org_id, depot_id, part_id, lot_code, made_on) do update
                 set quantity = excluded.quantity, rev = old.rev + 1 where old.quantity <> excluded.quantity
             returning id, depot_id, part_id, lot_code, made_on, quantity, rev",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(places.iter().map(|_| Uuid::now_v7()).collect::<Vec<_>>())
        .bind::<Array<SqlUuid>, _>(column(|place| place.depot_id))
        .bind::<Array<SqlUuid>, _>(column(|place| place.part_id))
        .bind::<Array<Text>, _>(places.iter().map(|place| place.lot_code.as_str()).collect::<Vec<_>>())
        .bind::<Array<Nullable<SqlDate>>, _>(
            places.iter().map(|place| place.made_on.map(|day| day.to_diesel())).collect::<Vec<_>>(),
        ),
    )
    .load(&mut tx.connection())
    .await?;
    let mut levels: Vec<StockLevel> = changed.into_iter().map(StockLevel::from).collect();
    levels.sort_by_key(|level| level.id);
    for level in &levels {
        tx.must_hold(level.depot_id)?;
        tx.publish(
            level.depot_id,
            kind::STOCK_LEVEL,
            level.id,
            level.rev,
            level,
        )?;
    }
    Ok(levels)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Total {
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = BigInt)]
    quantity: i64,
}

/// How many of each of these parts there are at the depots the tenant may see, all lots together, where there are any
/// or fewer than none.
pub(crate) async fn on_hand(
    tx: &Tx<'_>,
    part_ids: &[Uuid],
) -> Result<BTreeMap<Uuid, BTreeMap<Uuid, i64>>> {
    if part_ids.is_empty() {
        return Ok(BTreeMap::new());
    }
    let totals: Vec<Total> = prepared(
        diesel::sql_query(
            "select part_id, depot_id, sum(quantity)::bigint as quantity from stock_level
             where org_id = $1 and part_id = any($2) and ($3::uuid[] is null or depot_id = any($3))
             group by part_id, depot_id having sum(quantity) <> 0",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(part_ids)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    let mut parts: BTreeMap<Uuid, BTreeMap<Uuid, i64>> = BTreeMap::new();
    for total in totals {
        parts
            .entry(total.part_id)
            .or_default()
            .insert(total.depot_id, total.quantity);
    }
    Ok(parts)
}
