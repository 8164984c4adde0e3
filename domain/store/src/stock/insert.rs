//! The ledger's rows, written.

use diesel::sql_types::{
    Array, BigInt, Date as SqlDate, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;

use super::Row;
use crate::{Result, Tx, prepared};

/// Appends rows to the ledger.
pub(super) async fn insert(tx: &Tx<'_>, rows: &[Row]) -> Result<()> {
    prepared(
        diesel::sql_query(
            "insert into stock_move (org_id, id, depot_id, move, part_id, quantity, lot_code, made_on, to_depot_id, kit_id,
                                     work_order_id, reason, happened_at, received_at, booked_by, corrects, flags)
             select $1, id, depot_id, move, part_id, quantity, lot_code, made_on, to_depot_id, kit_id, work_order_id,
                    reason, happened_at, received_at, booked_by, corrects, string_to_array(flags, ',')
             from unnest($2::uuid[], $3::uuid[], $4::text[], $5::uuid[], $6::bigint[], $7::text[], $8::date[], $9::uuid[],
                         $10::uuid[], $11::uuid[], $12::text[], $13::timestamptz[], $14::timestamptz[], $15::uuid[],
                         $16::uuid[], $17::text[])
                 as n (id, depot_id, move, part_id, quantity, lot_code, made_on, to_depot_id, kit_id, work_order_id,
                       reason, happened_at, received_at, booked_by, corrects, flags)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(rows, |row| row.id))
        .bind::<Array<SqlUuid>, _>(column(rows, |row| row.depot_id))
        .bind::<Array<Text>, _>(column(rows, |row| row.kind.clone()))
        .bind::<Array<SqlUuid>, _>(column(rows, |row| row.part_id))
        .bind::<Array<BigInt>, _>(column(rows, |row| row.quantity))
        .bind::<Array<Text>, _>(column(rows, |row| row.lot_code.clone()))
        .bind::<Array<Nullable<SqlDate>>, _>(column(rows, |row| row.made_on.map(|day| day.to_diesel())))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(rows, |row| row.to_depot_id))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(rows, |row| row.kit_id))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(rows, |row| row.work_order_id))
        .bind::<Array<Nullable<Text>>, _>(column(rows, |row| row.reason.clone()))
        .bind::<Array<Timestamptz>, _>(column(rows, |row| row.happened_at.to_diesel()))
        .bind::<Array<Timestamptz>, _>(column(rows, |row| row.received_at.to_diesel()))
        .bind::<Array<SqlUuid>, _>(column(rows, |row| row.booked_by))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(rows, |row| row.corrects))
        .bind::<Array<Text>, _>(column(rows, |row| row.flags.join(","))),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn column<T>(rows: &[Row], value: impl Fn(&Row) -> T) -> Vec<T> {
    rows.iter().map(value).collect()
}
