//! What was done of the sheets' tasks, and what is put off.

use diesel::QueryableByName;
use diesel::sql_types::{Array, Date, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use rimeyard_rules::facts::{DeferralFacts, TaskDoneFacts};
use uuid::Uuid;

use super::{Asked, By, by};
use crate::prepared::prepared;
use crate::{Result, Tx};

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DoneRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = Text)]
    task: String,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Nullable<Double>)]
    hours: Option<f64>,
}

/// Tasks that somebody said to have done, and those whose checks an inspection answered, none of them unserviceable: the
/// latter since 1 July of last winter, and the newest before.
pub(super) async fn done(tx: &Tx<'_>, asked: &Asked) -> Result<By<TaskDoneFacts>> {
    let rows: Vec<DoneRow> = prepared(
        diesel::sql_query(
            "select unit_id, task, at, hours
             from (
                 select unit_id, task, took_effect_at as at, run_hours as hours, id
                 from task_done t
                 where org_id = $1 and unit_id = any($2) and done
                   and not exists (select from task_done c where c.org_id = t.org_id and c.corrects = t.id)
                 union all
                 select u.unit_id, u.task, i.took_effect_at, i.run_hours, i.id
                 from (
                     select unit_id, since, task, string_to_array(checks, ' ') as checks
                     from unnest($3::uuid[], $4::timestamptz[], $5::text[], $6::text[])
                         as u (unit_id, since, task, checks)
                 ) u
                 cross join lateral (
                     (select id, took_effect_at, run_hours
                      from inspection i
                      where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since
                        and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                        and cardinality(u.checks) = (
                            select count(*) from reading r
                            where r.org_id = $1 and r.inspection_id = i.id and r.check_code = any(u.checks)
                              and r.verdict <> 'unserviceable'))
                     union all
                     (select id, took_effect_at, run_hours
                      from inspection i
                      where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since
                        and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                        and cardinality(u.checks) = (
                            select count(*) from reading r
                            where r.org_id = $1 and r.inspection_id = i.id and r.check_code = any(u.checks)
                              and r.verdict <> 'unserviceable')
                      order by took_effect_at desc, id desc limit 1)
                 ) i
             ) d
             order by at, id, task",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<SqlUuid>, _>(column(asked, |task| task.unit_id))
        .bind::<Array<Timestamptz>, _>(column(asked, |task| task.since))
        .bind::<Array<Text>, _>(column(asked, |task| task.task.clone()))
        .bind::<Array<Text>, _>(column(asked, |task| task.checks.clone())),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        let done = TaskDoneFacts {
            task: row.task,
            at: asked.effective(row.at),
            hours: row.hours,
        };
        Ok((row.unit_id, done))
    })
}

fn column<T>(asked: &Asked, value: impl Fn(&super::TaskChecks) -> T) -> Vec<T> {
    asked.tasks.iter().map(value).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct DeferralRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    task: String,
    #[diesel(sql_type = Date, deserialize_as = jiff_diesel::Date)]
    until: jiff::civil::Date,
    #[diesel(sql_type = Text)]
    by: String,
    #[diesel(sql_type = Text)]
    reason: String,
}

/// Deferrals that nobody ended.
pub(super) async fn deferrals(tx: &Tx<'_>, asked: &Asked) -> Result<By<DeferralFacts>> {
    let rows: Vec<DeferralRow> = prepared(
        diesel::sql_query(
            "select d.unit_id, d.id, d.task, d.until_day as until, p.name as by, d.reason
             from deferral d
             join person p on p.org_id = d.org_id and p.id = d.deferred_by
             where d.org_id = $1 and d.unit_id = any($2) and d.ended_at is null
             order by d.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids),
    )
    .load(&mut tx.connection())
    .await?;
    by(rows, |row| {
        let deferral = DeferralFacts {
            id: row.id,
            task: row.task,
            until: row.until,
            by: row.by,
            reason: row.reason,
        };
        Ok((row.unit_id, deferral))
    })
}
