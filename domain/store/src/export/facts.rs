//! Meter readings and snowfall on the way out.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Date as SqlDate, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::table::writer::guard;
use uuid::Uuid;

use super::{Batch, shown, text, yes_no, yes_or_blank};
use crate::{Result, Tx, prepared};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct MeterRow {
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    read_at: Timestamp,
    #[diesel(sql_type = Nullable<Double>)]
    run_hours: Option<f64>,
    #[diesel(sql_type = Bool)]
    estimated: bool,
    #[diesel(sql_type = Bool)]
    meter_replaced: bool,
    #[diesel(sql_type = Nullable<Bool>)]
    started: Option<bool>,
    #[diesel(sql_type = Nullable<Text>)]
    note: Option<String>,
}

pub(super) async fn meter_readings(tx: &Tx<'_>, units: &[Uuid]) -> Result<Vec<Vec<String>>> {
    let rows: Vec<MeterRow> = prepared(
        diesel::sql_query(
            "select u.tag, m.read_at, m.run_hours, m.estimated, m.meter_replaced, m.started, m.note
             from meter_reading m join unit u on u.org_id = m.org_id and u.id = m.unit_id
             where m.org_id = $1 and m.unit_id = any($2)
               and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
             order by u.tag, m.read_at, m.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(units),
    )
    .load(&mut tx.connection())
    .await?;
    let cells = |row: MeterRow| {
        vec![
            guard(&row.tag),
            row.read_at.to_string(),
            shown(row.run_hours),
            yes_or_blank(row.estimated),
            yes_or_blank(row.meter_replaced),
            yes_no(row.started),
            text(row.note),
        ]
    };
    Ok(rows.into_iter().map(cells).collect())
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DayRow {
    #[diesel(sql_type = Text)]
    depot: String,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    on_day: Option<Date>,
    #[diesel(sql_type = Nullable<Double>)]
    snowfall_mm: Option<f64>,
}

/// Depot by depot, each day as it counts.
pub(super) async fn snowfall(
    tx: &Tx<'_>,
    depot_id: Option<Uuid>,
    after: Option<&str>,
) -> Result<Batch> {
    let rows: Vec<DayRow> = prepared(
        diesel::sql_query(
            "select d.name as depot, s.on_day, s.snowfall_mm
             from (select org_id, id, name from depot
                   where org_id = $1 and ($2::uuid is null or id = $2) and ($3::uuid[] is null or id = any($3))
                     and ($4::text is null or name > $4)
                   order by name limit 1) d
             left join lateral (
                 select distinct on (on_day) on_day, snowfall_mm from snowfall s
                 where s.org_id = d.org_id and s.depot_id = d.id order by on_day, id desc) s on true
             order by d.name, s.on_day",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<SqlUuid>, _>(depot_id)
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter())
        .bind::<Nullable<Text>, _>(after),
    )
    .load(&mut tx.connection())
    .await?;
    let next = rows.last().map(|row| row.depot.clone());
    let cells = |row: DayRow| {
        let (day, snow) = (row.on_day?, row.snowfall_mm?);
        Some(vec![guard(&row.depot), day.to_string(), snow.to_string()])
    };
    Ok(Batch {
        rows: rows.into_iter().filter_map(cells).collect(),
        next,
    })
}
