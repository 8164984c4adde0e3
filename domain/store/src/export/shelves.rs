//! The list of parts and the ledgers of stock on the way out.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, BigInt, Date as SqlDate, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::table::writer::guard;
use uuid::Uuid;

use super::{Batch, shown, text};
use crate::{Result, Tx, prepared};

/// Parts that go out at a time.
const PARTS: i64 = 1_000;

#[derive(QueryableByName)]
struct PartRow {
    #[diesel(sql_type = Text)]
    number: String,
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Text)]
    unit: String,
    #[diesel(sql_type = Integer)]
    pack_size: i32,
    #[diesel(sql_type = Integer)]
    lead_time_days: i32,
    #[diesel(sql_type = Nullable<BigInt>)]
    price_minor: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    currency: Option<String>,
    #[diesel(sql_type = Nullable<Integer>)]
    shelf_life_days: Option<i32>,
}

/// By number; without kits, which no table says.
pub(super) async fn parts(tx: &Tx<'_>, after: Option<&str>) -> Result<Batch> {
    let rows: Vec<PartRow> = prepared(
        diesel::sql_query(
            "select number, name, title, unit, pack_size, lead_time_days, price_minor, currency, shelf_life_days
             from part where org_id = $1 and kit is null and ($2::text is null or number > $2) order by number limit $3",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Text>, _>(after)
        .bind::<BigInt, _>(PARTS),
    )
    .load(&mut tx.connection())
    .await?;
    let next = rows.last().map(|row| row.number.clone());
    let cells = |row: PartRow| {
        vec![
            guard(&row.number),
            guard(&row.name),
            guard(&row.title),
            guard(&row.unit),
            row.pack_size.to_string(),
            row.lead_time_days.to_string(),
            shown(row.price_minor),
            text(row.currency),
            shown(row.shelf_life_days),
        ]
    };
    Ok(Batch {
        rows: rows.into_iter().map(cells).collect(),
        next,
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct MoveRow {
    #[diesel(sql_type = Text)]
    depot: String,
    #[diesel(sql_type = Nullable<Text>)]
    part: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    kind: Option<String>,
    #[diesel(sql_type = Nullable<BigInt>)]
    quantity: Option<i64>,
    #[diesel(sql_type = Nullable<Text>)]
    lot_code: Option<String>,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    happened_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Text>)]
    to_depot: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    reason: Option<String>,
}

/// Depot by depot, what was booked there and not corrected, oldest first. Of what was moved, only those that left for a
/// depot that is granted, too.
pub(super) async fn stock(
    tx: &Tx<'_>,
    depot_id: Option<Uuid>,
    after: Option<&str>,
) -> Result<Batch> {
    let rows: Vec<MoveRow> = prepared(
        diesel::sql_query(
            "select d.name as depot, m.* from (
                 select org_id, id, name from depot
                 where org_id = $1 and ($2::uuid is null or id = $2) and ($3::uuid[] is null or id = any($3))
                   and ($4::text is null or name > $4)
                 order by name limit 1) d
             left join lateral (
                 select p.number as part, s.move as kind, s.quantity, nullif(s.lot_code, '') as lot_code, s.made_on,
                        s.happened_at, t.name as to_depot, s.reason, s.id
                 from stock_move s
                 join part p on p.org_id = s.org_id and p.id = s.part_id
                 left join depot t on t.org_id = s.org_id and t.id = s.to_depot_id
                 where s.org_id = d.org_id and s.depot_id = d.id and (s.quantity > 0 or s.move = 'counted')
                   and ($3::uuid[] is null or s.to_depot_id is null or s.to_depot_id = any($3))
                   and not exists (select from stock_move c where c.org_id = s.org_id and c.corrects = s.id)) m on true
             order by m.happened_at, m.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<SqlUuid>, _>(depot_id)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<Text>, _>(after),
    )
    .load(&mut tx.connection())
    .await?;
    let next = rows.last().map(|row| row.depot.clone());
    let cells = |row: MoveRow| {
        Some(vec![
            guard(&row.depot),
            guard(&row.part?),
            row.kind?,
            shown(row.quantity),
            text(row.lot_code),
            shown(row.made_on),
            row.happened_at?.to_string(),
            text(row.to_depot),
            text(row.reason),
        ])
    };
    Ok(Batch {
        rows: rows.into_iter().filter_map(cells).collect(),
        next,
    })
}
