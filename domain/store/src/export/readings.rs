//! Inspections on the way out, a row a reading.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Double, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::table::writer::guard;
use uuid::Uuid;

use super::{shown, text, yes_no};
use crate::{Result, Tx, prepared};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = Text)]
    tag: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    performed_at: Timestamp,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Nullable<Double>)]
    run_hours: Option<f64>,
    #[diesel(sql_type = Nullable<Text>)]
    check_code: Option<String>,
    #[diesel(sql_type = Nullable<Double>)]
    entered: Option<f64>,
    #[diesel(sql_type = Nullable<Text>)]
    unit: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    grade: Option<String>,
    #[diesel(sql_type = Nullable<Bool>)]
    works: Option<bool>,
    #[diesel(sql_type = Nullable<Text>)]
    level: Option<String>,
    #[diesel(sql_type = Nullable<Double>)]
    temperature_c: Option<f64>,
    #[diesel(sql_type = Nullable<Double>)]
    full_charge: Option<f64>,
    #[diesel(sql_type = Nullable<Integer>)]
    repeats: Option<i32>,
    #[diesel(sql_type = Nullable<Text>)]
    note: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    inspection_note: Option<String>,
}

pub(super) async fn inspections(tx: &Tx<'_>, units: &[Uuid]) -> Result<Vec<Vec<String>>> {
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select u.tag, i.performed_at, i.kind, i.run_hours, r.check_code, r.entered, r.unit, r.grade, r.works, r.level,
                    r.temperature_c, r.full_charge, nullif(r.repeats, 1) as repeats, r.note, i.note as inspection_note
             from inspection i
             join unit u on u.org_id = i.org_id and u.id = i.unit_id
             left join reading r on r.org_id = i.org_id and r.inspection_id = i.id
             where i.org_id = $1 and i.unit_id = any($2)
               and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
             order by u.tag, i.performed_at, i.kind, i.id, r.check_code",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(units),
    )
    .load(&mut tx.connection())
    .await?;
    let cells = |row: Row| {
        vec![
            guard(&row.tag),
            row.performed_at.to_string(),
            row.kind,
            shown(row.run_hours),
            text(row.check_code),
            shown(row.entered),
            text(row.unit),
            text(row.grade),
            yes_no(row.works),
            text(row.level),
            shown(row.temperature_c),
            shown(row.full_charge),
            shown(row.repeats),
            text(row.note),
            text(row.inspection_note),
        ]
    };
    Ok(rows.into_iter().map(cells).collect())
}
