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

/// Tasks that somebody said to have done, and those that an inspection showed to be done: the latter since 1 July of last
/// winter, and of each task the newest before.
pub(super) async fn done(tx: &Tx<'_>, asked: &Asked) -> Result<By<TaskDoneFacts>> {
    let rows: Vec<DoneRow> = prepared(
        diesel::sql_query(
            "with u as materialized (
                 select * from unnest($2::uuid[], $3::timestamptz[]) as u (unit_id, since)
             ), shown as materialized (
                 select u.unit_id, u.since, i.id, i.took_effect_at as at, i.run_hours as hours, t.task
                 from u
                 cross join lateral (
                     select id, took_effect_at, run_hours, tasks_shown
                     from inspection i
                     where org_id = $1 and unit_id = u.unit_id and tasks_shown <> '{}'
                       and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                     offset 0
                 ) i
                 cross join lateral unnest(i.tasks_shown) as t (task)
             )
             select unit_id, task, at, hours
             from (
                 select unit_id, id, task, took_effect_at as at, run_hours as hours
                 from task_done t
                 where org_id = $1 and unit_id = any($2) and done
                   and not exists (select from task_done c where c.org_id = t.org_id and c.corrects = t.id)
                 union all
                 select unit_id, id, task, at, hours from shown where at >= since
                 union all
                 (select distinct on (unit_id, task) unit_id, id, task, at, hours
                  from shown where at < since order by unit_id, task, at desc, id desc)
             ) d
             order by at, id, task",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since),
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
