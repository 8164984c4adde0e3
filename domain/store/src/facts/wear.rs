//! Parts as fitted with what was measured on them, and the newest reading of each check.
//!
//! Readings are looked up inspection by inspection, through their key, whatever Postgres guesses (`offset 0`): on
//! tables that were just filled and not yet analysed it guesses so low that a plan of its own choice compares every
//! reading of the depot with every inspection of the organisation, a thousand times the work.

use diesel::QueryableByName;
use diesel::sql_types::{
    Array, Bool, Double, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::facts::{FittedPartFacts, LatestReading, PathReading};
use uuid::Uuid;

use super::{Asked, By, by, take};
use crate::json::of_word;
use crate::prepared::prepared;
use crate::{Result, Tx};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct PartRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    part: String,
    #[diesel(sql_type = Text)]
    how: String,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    fitted_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Double>)]
    fitted_hours: Option<f64>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    removed_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Double>)]
    removed_hours: Option<f64>,
    #[diesel(sql_type = Nullable<Bool>)]
    failed: Option<bool>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    sound_at: Option<Timestamp>,
}

/// All wear paths of the units, with their measurements.
pub(super) async fn parts(tx: &Tx<'_>, asked: &Asked) -> Result<By<FittedPartFacts>> {
    let fitted = prepared(
        diesel::sql_query(
            "select f.unit_id, f.id, f.part, f.how, f.fitted_at, f.fitted_hours, f.removed_at, f.removed_hours, f.failed,
                    s.sound_at
             from fitted_part f
             left join lateral (
                 select i.took_effect_at as sound_at
                 from inspection i
                 where f.failed and i.org_id = $1 and i.unit_id = f.unit_id and i.took_effect_at < f.removed_at
                   and (f.fitted_at is null or i.took_effect_at >= f.fitted_at)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                   and not exists (select from reading r
                                   where r.org_id = $1 and r.inspection_id = i.id and r.fitted_part_id = f.id
                                     and r.verdict = 'unserviceable')
                 order by i.took_effect_at desc limit 1
             ) s on true
             where f.org_id = $1 and f.unit_id = any($2)
             order by f.part, f.fitted_at nulls first, f.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    );
    let (rows, mut readings) = futures::try_join!(
        async {
            let rows: Vec<PartRow> = fitted.load(&mut tx.connection()).await?;
            Ok(rows)
        },
        path_readings(tx, asked),
    )?;
    let mut parts = By::new();
    for row in rows {
        parts.entry(row.unit_id).or_default().push(FittedPartFacts {
            id: row.id,
            how: of_word(row.how)?,
            part: row.part,
            fitted_at: row.fitted_at,
            fitted_hours: row.fitted_hours,
            removed_at: row.removed_at,
            removed_hours: row.removed_hours,
            failed: row.failed,
            sound_at: row.sound_at,
            readings: take(&mut readings, row.id),
        });
    }
    Ok(parts)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct PathRow {
    #[diesel(sql_type = SqlUuid)]
    fitted_part_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Nullable<Double>)]
    hours: Option<f64>,
    #[diesel(sql_type = Double)]
    value: f64,
    #[diesel(sql_type = Integer)]
    repeats: i32,
}

/// Measurements by the fitted part they were made on. A suspect inspection's hours are not taken; its values are.
async fn path_readings(tx: &Tx<'_>, asked: &Asked) -> Result<By<PathReading>> {
    let rows: Vec<PathRow> = prepared(
        diesel::sql_query(
            "with standing as materialized (
                 select id, took_effect_at, case when not 'suspect' = any(flags) then run_hours end as hours
                 from inspection i
                 where org_id = $1 and unit_id = any($2)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
             )
             select r.fitted_part_id, r.check_code, i.took_effect_at as at, i.hours, r.value, r.repeats
             from standing i
             cross join lateral (
                 select * from reading
                 where org_id = $1 and inspection_id = i.id and fitted_part_id is not null and value is not null
                 offset 0
             ) r
             order by i.took_effect_at, i.id, r.check_code",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.fitted_part_id,
            PathReading {
                check: row.check_code,
                at: asked.effective(row.at),
                hours: row.hours,
                value: row.value,
                repeats: row.repeats.unsigned_abs(),
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct LatestRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Text)]
    by: String,
    #[diesel(sql_type = Text)]
    verdict: String,
    #[diesel(sql_type = Nullable<Double>)]
    value: Option<f64>,
    #[diesel(sql_type = Nullable<Text>)]
    grade: Option<String>,
    #[diesel(sql_type = Nullable<Bool>)]
    works: Option<bool>,
    #[diesel(sql_type = Nullable<Double>)]
    temperature_c: Option<f64>,
    #[diesel(sql_type = Nullable<Double>)]
    full_charge: Option<f64>,
}

/// The newest reading of each check of each unit, however old.
pub(super) async fn latest(tx: &Tx<'_>, asked: &Asked) -> Result<By<LatestReading>> {
    let rows: Vec<LatestRow> = prepared(
        diesel::sql_query(
            "with standing as materialized (
                 select id, unit_id, took_effect_at as at, performed_by
                 from inspection i
                 where org_id = $1 and unit_id = any($2)
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
             ), newest as (
                 select distinct on (i.unit_id, r.check_code)
                        i.unit_id, r.check_code, i.at, i.performed_by, r.verdict, r.value,
                        coalesce(r.grade, r.level) as grade, r.works, r.temperature_c, r.full_charge
                 from standing i
                 cross join lateral (select * from reading where org_id = $1 and inspection_id = i.id offset 0) r
                 order by i.unit_id, r.check_code, i.at desc, i.id desc
             )
             select l.*, p.name as by
             from newest l
             join person p on p.org_id = $1 and p.id = l.performed_by
             order by l.unit_id, l.check_code",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            LatestReading {
                check: row.check_code,
                at: asked.effective(row.at),
                by: row.by,
                verdict: of_word(row.verdict)?,
                value: row.value,
                grade: row.grade,
                works: row.works,
                temperature_c: row.temperature_c,
                full_charge: row.full_charge,
            },
        ))
    })
}
