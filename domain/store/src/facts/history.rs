//! What was done and read: inspections, attempts to start, hours. Corrected facts are left out: the later one that
//! names them stands for them.

use diesel::QueryableByName;
use diesel::sql_types::{Array, Bool, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::facts::{CheckFound, InspectionFacts, MeterFacts, StartFacts};
use uuid::Uuid;

use super::{Asked, By, by};
use crate::doubt::OF_HOURS;
use crate::json::of_word;
use crate::prepared::prepared;
use crate::{Result, Tx};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct InspectionRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Text)]
    by: String,
}

/// Inspections since 1 July of last winter, and the newest before.
pub(super) async fn inspections(tx: &Tx<'_>, asked: &Asked) -> Result<By<InspectionFacts>> {
    let rows: Vec<InspectionRow> = prepared(
        diesel::sql_query(
            "select u.unit_id, i.id, i.kind, i.took_effect_at as at, p.name as by
             from unnest($2::uuid[], $3::timestamptz[]) as u (unit_id, since)
             cross join lateral (
                 (select id, kind, took_effect_at, performed_by
                  from inspection i
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since
                    and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id))
                 union all
                 (select id, kind, took_effect_at, performed_by
                  from inspection i
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since
                    and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                  order by took_effect_at desc, id desc limit 1)
             ) i
             join person p on p.org_id = $1 and p.id = i.performed_by
             order by i.took_effect_at, i.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            InspectionFacts {
                id: row.id,
                kind: of_word(row.kind)?,
                at: asked.effective(row.at),
                by: row.by,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct StartRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Bool)]
    started: bool,
    #[diesel(sql_type = Text)]
    by: String,
}

/// Attempts to start, by word of a meter reading or by the sheet's start check, since 1 July of last winter, and the
/// newest good one before of either kind.
pub(super) async fn starts(tx: &Tx<'_>, asked: &Asked) -> Result<By<StartFacts>> {
    let rows: Vec<StartRow> = prepared(
        diesel::sql_query(
            "with asked as (
                 select * from unnest($2::uuid[], $3::timestamptz[], $4::text[]) as u (unit_id, since, start_check)
             ), checked as (
                 select u.unit_id, u.since, i.id, i.took_effect_at as at, r.works as started, i.performed_by as person_id
                 from asked u
                 cross join lateral (
                     select id, took_effect_at, performed_by from inspection i
                     where org_id = $1 and unit_id = u.unit_id
                       and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                     offset 0
                 ) i
                 cross join lateral (
                     select works from reading
                     where org_id = $1 and inspection_id = i.id and check_code = u.start_check and works is not null
                     offset 0
                 ) r
             )
             select a.unit_id, a.at, a.started, p.name as by
             from (
                 select unit_id, id, at, started, person_id from checked where at >= since
                 union all
                 (select distinct on (unit_id) unit_id, id, at, started, person_id
                  from checked where at < since and started order by unit_id, at desc, id desc)
                 union all
                 select u.unit_id, m.id, m.took_effect_at, m.started, m.read_by
                 from asked u
                 cross join lateral (
                     (select id, took_effect_at, started, read_by
                      from meter_reading m
                      where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since and started is not null
                        and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id))
                     union all
                     (select id, took_effect_at, started, read_by
                      from meter_reading m
                      where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since and started
                        and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
                      order by took_effect_at desc, id desc limit 1)
                 ) m
             ) a
             join person p on p.org_id = $1 and p.id = a.person_id
             order by a.at, a.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since)
        .bind::<Array<Text>, _>(&asked.start_checks),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            StartFacts {
                at: asked.effective(row.at),
                started: row.started,
                by: row.by,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct CheckRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    check_code: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Text)]
    verdict: String,
    #[diesel(sql_type = Nullable<Double>)]
    value: Option<f64>,
}

/// What the checks that make a unit go dead sooner were found to be, since 1 July of last winter, and the newest of each
/// before.
pub(super) async fn start_checks(tx: &Tx<'_>, asked: &Asked) -> Result<By<CheckFound>> {
    let rows: Vec<CheckRow> = prepared(
        diesel::sql_query(
            "with found as materialized (
                 select u.unit_id, u.since, i.id, i.took_effect_at as at, r.check_code, r.verdict, r.value
                 from unnest($2::uuid[], $3::timestamptz[], $4::text[]) as u (unit_id, since, checks)
                 cross join lateral (
                     select id, took_effect_at from inspection i
                     where org_id = $1 and unit_id = u.unit_id
                       and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                     offset 0
                 ) i
                 cross join lateral (
                     select check_code, verdict, value from reading
                     where org_id = $1 and inspection_id = i.id and check_code = any(string_to_array(u.checks, ' '))
                     offset 0
                 ) r
             )
             select unit_id, check_code, at, verdict, value
             from (
                 select * from found where at >= since
                 union all
                 (select distinct on (unit_id, check_code) * from found
                  where at < since order by unit_id, check_code, at desc, id desc)
             ) f
             order by at, id, check_code",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since)
        .bind::<Array<Text>, _>(&asked.going_dead_checks),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            CheckFound {
                check: row.check_code,
                at: asked.effective(row.at),
                verdict: of_word(row.verdict)?,
                value: row.value,
            },
        ))
    })
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct MeterRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Double)]
    hours: f64,
    #[diesel(sql_type = Bool)]
    estimated: bool,
    #[diesel(sql_type = Bool)]
    meter_replaced: bool,
}

/// Hours as meter readings and inspections noted them, those that contradict others too: the timeline says which to believe.
/// The last two years', and of either kind the newest before that nobody doubted; all of them where a meter was
/// replaced.
pub(super) async fn meter(tx: &Tx<'_>, asked: &Asked) -> Result<By<MeterFacts>> {
    let rows: Vec<MeterRow> = prepared(
        diesel::sql_query(
            "select u.unit_id, n.at, n.hours, n.estimated, n.meter_replaced
             from (
                 select a.unit_id,
                        case when exists (select from meter_reading m
                                          where m.org_id = $1 and m.unit_id = a.unit_id and m.meter_replaced)
                             then '-infinity' else $3 end as since
                 from unnest($2::uuid[]) as a (unit_id)
             ) u
             cross join lateral (
                 (select id, took_effect_at as at, run_hours as hours, estimated, meter_replaced
                  from meter_reading m
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since and run_hours is not null
                    and flags <@ $4
                    and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id))
                 union all
                 (select id, took_effect_at, run_hours, estimated, meter_replaced
                  from meter_reading m
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since and run_hours is not null
                    and flags = '{}'
                    and not exists (select from meter_reading c where c.org_id = m.org_id and c.corrects = m.id)
                  order by took_effect_at desc, id desc limit 1)
                 union all
                 (select id, took_effect_at, run_hours, false, false
                  from inspection i
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since and run_hours is not null
                    and flags <@ $4
                    and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id))
                 union all
                 (select id, took_effect_at, run_hours, false, false
                  from inspection i
                  where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since and run_hours is not null
                    and flags = '{}'
                    and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                  order by took_effect_at desc, id desc limit 1)
             ) n
             order by n.at, n.hours, n.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Timestamptz, _>(asked.hours_since.to_diesel())
        .bind::<Array<Text>, _>(OF_HOURS.as_slice()),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        Ok((
            row.unit_id,
            MeterFacts {
                at: asked.effective(row.at),
                hours: row.hours,
                estimated: row.estimated,
                meter_replaced: row.meter_replaced,
            },
        ))
    })
}
