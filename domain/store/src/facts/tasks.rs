//! What was done of the sheets' tasks, and what is put off.

use std::collections::{HashMap, HashSet};

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
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
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
    let (mut done, answered) =
        futures::try_join!(said_and_shown_before(tx, asked), answered(tx, asked))?;
    let models = asked.unit_ids.iter().zip(&asked.model_ids);
    let models: HashMap<Uuid, Uuid> = models.map(|(unit, model)| (*unit, *model)).collect();
    for inspection in answered {
        let checks: HashSet<&str> = inspection.checks.split(' ').collect();
        let model = models.get(&inspection.unit_id);
        let tasks = asked
            .tasks
            .iter()
            .filter(|task| Some(&task.model_id) == model);
        let shown = tasks.filter(|task| task.checks.split(' ').all(|one| checks.contains(one)));
        done.extend(shown.map(|task| DoneRow {
            unit_id: inspection.unit_id,
            id: inspection.id,
            task: task.task.clone(),
            at: inspection.at,
            hours: inspection.hours,
        }));
    }
    done.sort_by(|a, b| (a.at, a.id, &a.task).cmp(&(b.at, b.id, &b.task)));
    by(done, |row| {
        let done = TaskDoneFacts {
            task: row.task,
            at: asked.effective(row.at),
            hours: row.hours,
        };
        Ok((row.unit_id, done))
    })
}

async fn said_and_shown_before(tx: &Tx<'_>, asked: &Asked) -> Result<Vec<DoneRow>> {
    Ok(prepared(
        diesel::sql_query(
            "select unit_id, id, task, took_effect_at as at, run_hours as hours
             from task_done t
             where org_id = $1 and unit_id = any($2) and done
               and not exists (select from task_done c where c.org_id = t.org_id and c.corrects = t.id)
             union all
             select u.unit_id, i.id, t.task, i.took_effect_at, i.run_hours
             from unnest($2, $3::timestamptz[], $4::uuid[]) as u (unit_id, since, model_id)
             join unnest($5::uuid[], $6::text[], $7::text[]) as t (model_id, task, checks) on t.model_id = u.model_id
             cross join lateral (
                 select id, took_effect_at, run_hours
                 from inspection i
                 where org_id = $1 and unit_id = u.unit_id and took_effect_at < u.since
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                   and cardinality(string_to_array(t.checks, ' ')) = (
                       select count(*) from reading r
                       where r.org_id = $1 and r.inspection_id = i.id
                         and r.check_code = any(string_to_array(t.checks, ' ')) and r.verdict <> 'unserviceable')
                 order by took_effect_at desc, id desc limit 1
             ) i",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since)
        .bind::<Array<SqlUuid>, _>(&asked.model_ids)
        .bind::<Array<SqlUuid>, _>(column(asked, |task| task.model_id))
        .bind::<Array<Text>, _>(column(asked, |task| task.task.as_str()))
        .bind::<Array<Text>, _>(column(asked, |task| task.checks.as_str())),
    )
    .load(&mut tx.connection())
    .await?)
}

fn column<'a, T>(asked: &'a Asked, value: impl Fn(&'a super::TaskChecks) -> T) -> Vec<T> {
    asked.tasks.iter().map(value).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct AnsweredRow {
    #[diesel(sql_type = SqlUuid)]
    unit_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    at: Timestamp,
    #[diesel(sql_type = Nullable<Double>)]
    hours: Option<f64>,
    /// Those answered and not unserviceable, joined by blanks.
    #[diesel(sql_type = Text)]
    checks: String,
}

/// What inspections since 1 July of last winter answered. Which tasks that does is found here and not by Postgres: looking
/// for each task's checks in each inspection took eight times as long.
async fn answered(tx: &Tx<'_>, asked: &Asked) -> Result<Vec<AnsweredRow>> {
    Ok(prepared(
        diesel::sql_query(
            "select u.unit_id, i.id, i.took_effect_at as at, i.run_hours as hours, r.checks
             from unnest($2::uuid[], $3::timestamptz[]) as u (unit_id, since)
             cross join lateral (
                 select id, took_effect_at, run_hours
                 from inspection i
                 where org_id = $1 and unit_id = u.unit_id and took_effect_at >= u.since
                   and not exists (select from inspection c where c.org_id = i.org_id and c.corrects = i.id)
                 offset 0
             ) i
             cross join lateral (
                 select coalesce(string_agg(check_code, ' '), '') as checks
                 from reading
                 where org_id = $1 and inspection_id = i.id and verdict <> 'unserviceable'
             ) r",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked.unit_ids)
        .bind::<Array<Timestamptz>, _>(&asked.since),
    )
    .load(&mut tx.connection())
    .await?)
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
