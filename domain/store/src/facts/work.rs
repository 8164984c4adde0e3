//! Work that is open at depots, and the parts that it wants.

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Date, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::facts::{Fault, OrderFacts, WantedPart};
use uuid::Uuid;

use super::{Asked, By, by};
use crate::prepared::prepared;
use crate::{Result, Tx};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct OrderRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Nullable<Date>, deserialize_as = jiff_diesel::NullableDate)]
    planned_for: Option<jiff::civil::Date>,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    opened_at: Timestamp,
    #[diesel(sql_type = Nullable<Text>)]
    symptom: Option<String>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    noticed_at: Option<Timestamp>,
}

/// Each depot's orders that are neither closed nor dropped.
pub(super) async fn orders(
    tx: &Tx<'_>,
    depot_ids: &[Uuid],
    asked: &Asked,
) -> Result<By<OrderFacts>> {
    let rows: Vec<OrderRow> = prepared(
        diesel::sql_query(
            "select o.depot_id, o.id, o.unit_id, u.tag, o.title, o.planned_for, o.opened_at,
                    o.symptom, o.noticed_at
             from work_order o
             join unit u on u.org_id = o.org_id and u.id = o.unit_id
             where o.org_id = $1 and o.depot_id = any($2) and o.ended_at is null
             order by o.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        let order = OrderFacts {
            id: row.id,
            unit_id: row.unit_id,
            tag: row.tag,
            title: row.title,
            planned_for: row.planned_for,
            opened_at: row.opened_at,
            fault: row.symptom.map(|symptom| Fault {
                symptom,
                at: asked.effective(row.noticed_at.unwrap_or(row.opened_at)),
            }),
        };
        Ok((row.depot_id, order))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct WantedRow {
    #[diesel(sql_type = SqlUuid)]
    depot_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Array<SqlUuid>)]
    unit_ids: Vec<Uuid>,
    #[diesel(sql_type = Array<BigInt>)]
    wanted: Vec<i64>,
    #[diesel(sql_type = BigInt)]
    on_hand: i64,
}

/// What each depot's open orders want of each part, less what was used for them, and what is on its shelf on paper.
pub(super) async fn wanted(tx: &Tx<'_>, depot_ids: &[Uuid]) -> Result<By<WantedPart>> {
    let rows: Vec<WantedRow> = prepared(
        diesel::sql_query(
            "with want as (
                 select o.depot_id, n.part_id, o.unit_id, sum(greatest(n.quantity - coalesce(m.used, 0), 0))::int8 as wanted
                 from work_order o
                 cross join lateral jsonb_to_recordset(o.needs) as n (part_id uuid, quantity bigint)
                 left join lateral (
                     select sum(quantity) as used from stock_move m
                     where m.org_id = o.org_id and m.work_order_id = o.id and m.part_id = n.part_id and m.move = 'used'
                       and not exists (select from stock_move c where c.org_id = m.org_id and c.corrects = m.id)
                 ) m on true
                 where o.org_id = $1 and o.depot_id = any($2) and o.ended_at is null
                 group by o.depot_id, n.part_id, o.unit_id
             ), by_part as (
                 select depot_id, part_id, array_agg(unit_id order by unit_id) as unit_ids,
                        array_agg(wanted order by unit_id) as wanted
                 from want where wanted > 0 group by depot_id, part_id
             )
             select w.depot_id, w.part_id, p.title, w.unit_ids, w.wanted, coalesce(l.on_hand, 0)::int8 as on_hand
             from by_part w
             join part p on p.org_id = $1 and p.id = w.part_id
             left join lateral (
                 select sum(quantity) as on_hand from stock_level l
                 where l.org_id = $1 and l.depot_id = w.depot_id and l.part_id = w.part_id
             ) l on true
             order by w.depot_id, w.part_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(depot_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        let wanted = WantedPart {
            part_id: row.part_id,
            title: row.title,
            wanted: row.wanted.iter().sum(),
            by_unit: row.unit_ids.into_iter().zip(row.wanted).collect(),
            on_hand: row.on_hand,
        };
        Ok((row.depot_id, wanted))
    })
}
