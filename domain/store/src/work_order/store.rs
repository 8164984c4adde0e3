//! Work orders, written.

use diesel::prelude::*;
use diesel::sql_types::{Array, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff_diesel::ToDiesel;
use uuid::Uuid;

use super::{OrderLine, WorkOrder, find};
use crate::feed::{Write, kind};
use crate::json::json;
use crate::schema::work_order;
use crate::{Result, Tx, prepared};

/// Stores new orders with their lines and publishes them.
pub(super) async fn insert(tx: &mut Write<'_>, orders: &[WorkOrder]) -> Result<()> {
    let rows: Vec<_> = orders
        .iter()
        .map(|order| {
            Ok((
                (
                    work_order::org_id.eq(tx.org_id()),
                    work_order::id.eq(order.id),
                    work_order::unit_id.eq(order.unit_id),
                    work_order::opened_at.eq(order.opened_at.to_diesel()),
                    work_order::opened_by.eq(order.opened_by),
                    work_order::symptom.eq(&order.symptom),
                    work_order::noticed_at.eq(order.noticed_at.map(|at| at.to_diesel())),
                    work_order::depot_id.eq(order.depot_id),
                ),
                changeable(order)?,
            ))
        })
        .collect::<Result<_>>()?;
    diesel::insert_into(work_order::table)
        .values(rows)
        .execute(&mut tx.connection())
        .await?;
    let lines = orders
        .iter()
        .flat_map(|order| order.lines.iter().map(|line| (order.id, line)));
    store_lines(tx, &lines.collect::<Vec<_>>()).await?;
    for order in orders {
        publish(tx, order)?;
        tx.mark(order.depot_id);
        tx.audit(
            order.depot_id,
            "create",
            kind::WORK_ORDER,
            order.id,
            json(order)?,
        );
    }
    Ok(())
}

/// Stores what may be changed of an order, and all its lines.
pub(super) async fn update(tx: &Tx<'_>, order: &WorkOrder) -> Result<()> {
    diesel::update(work_order::table.find((tx.org_id(), order.id)))
        .set(changeable(order)?)
        .execute(&mut tx.connection())
        .await?;
    let lines: Vec<_> = order.lines.iter().map(|line| (order.id, line)).collect();
    store_lines(tx, &lines).await
}

#[derive(Insertable, AsChangeset)]
#[diesel(table_name = work_order, treat_none_as_null = true)]
struct Changeable<'a> {
    state: &'static str,
    title: &'a str,
    #[diesel(serialize_as = jiff_diesel::NullableDate)]
    planned_for: Option<jiff::civil::Date>,
    assigned_to: Option<Uuid>,
    waits_for: Option<&'a str>,
    needs: serde_json::Value,
    downtime: serde_json::Value,
    note: Option<&'a str>,
    drop_reason: Option<&'a str>,
    proved_by: Option<Uuid>,
    #[diesel(serialize_as = jiff_diesel::NullableTimestamp)]
    ended_at: Option<jiff::Timestamp>,
    ended_by: Option<Uuid>,
    rev: i64,
}

fn changeable(order: &WorkOrder) -> Result<Changeable<'_>> {
    Ok(Changeable {
        state: order.state.as_str(),
        title: &order.title,
        planned_for: order.planned_for,
        assigned_to: order.assigned_to,
        waits_for: order.waits_for.as_deref(),
        needs: json(&order.needs)?,
        downtime: json(&order.downtime)?,
        note: order.note.as_deref(),
        drop_reason: order.drop_reason.as_deref(),
        proved_by: order.proved_by,
        ended_at: order.ended_at,
        ended_by: order.ended_by,
        rev: order.rev,
    })
}

/// Stores lines, new ones and those that are there.
pub(super) async fn store_lines(tx: &Tx<'_>, lines: &[(Uuid, &OrderLine)]) -> Result<()> {
    if lines.is_empty() {
        return Ok(());
    }
    // Postgres' arrays of arrays are rectangles: each line's words travel as JSON.
    let takes: Vec<serde_json::Value> = lines
        .iter()
        .map(|(_, line)| json(&line.takes))
        .collect::<Result<_>>()?;
    prepared(
        diesel::sql_query(
            "insert into work_order_line (org_id, id, work_order_id, title, minutes_planned, minutes_worked, finding_id,
                                          task, part, takes, done_at, taken_off)
             select $1, id, work_order_id, title, minutes_planned, minutes_worked, finding_id, task, part,
                    array(select jsonb_array_elements_text(takes)), done_at, taken_off
             from unnest($2::uuid[], $3::uuid[], $4::text[], $5::float8[], $6::float8[], $7::uuid[], $8::text[], $9::text[],
                         $10::jsonb[], $11::timestamptz[], $12::text[])
                 as n (id, work_order_id, title, minutes_planned, minutes_worked, finding_id, task, part, takes, done_at,
                       taken_off)
             on conflict (org_id, id) do update set
                 title = excluded.title, minutes_planned = excluded.minutes_planned,
                 minutes_worked = excluded.minutes_worked, done_at = excluded.done_at, taken_off = excluded.taken_off",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(column(lines, |line| line.id))
        .bind::<Array<SqlUuid>, _>(lines.iter().map(|(order, _)| *order).collect::<Vec<_>>())
        .bind::<Array<Text>, _>(column(lines, |line| line.title.clone()))
        .bind::<Array<Nullable<Double>>, _>(column(lines, |line| line.minutes_planned))
        .bind::<Array<Nullable<Double>>, _>(column(lines, |line| line.minutes_worked))
        .bind::<Array<Nullable<SqlUuid>>, _>(column(lines, |line| line.finding_id))
        .bind::<Array<Nullable<Text>>, _>(column(lines, |line| line.task.clone()))
        .bind::<Array<Nullable<Text>>, _>(column(lines, |line| line.part.clone()))
        .bind::<Array<diesel::sql_types::Jsonb>, _>(takes)
        .bind::<Array<Nullable<Timestamptz>>, _>(column(lines, |line| line.done_at.map(|at| at.to_diesel())))
        .bind::<Array<Nullable<Text>>, _>(column(lines, |line| line.taken_off.clone())),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}

fn column<T>(lines: &[(Uuid, &OrderLine)], value: impl Fn(&OrderLine) -> T) -> Vec<T> {
    lines.iter().map(|(_, line)| value(line)).collect()
}

pub(super) fn publish(tx: &mut Write<'_>, order: &WorkOrder) -> Result<()> {
    tx.must_hold(order.depot_id)?;
    tx.publish(order.depot_id, kind::WORK_ORDER, order.id, order.rev, order)
}

/// Publishes orders anew, one version on, of which something changed that is kept elsewhere: a finding of a line, what
/// was used.
pub(crate) async fn touch(tx: &mut Write<'_>, ids: &[Uuid]) -> Result<()> {
    if ids.is_empty() {
        return Ok(());
    }
    diesel::update(work_order::table)
        .filter(work_order::org_id.eq(tx.org_id()))
        .filter(work_order::id.eq_any(ids))
        .set(work_order::rev.eq(work_order::rev + 1))
        .execute(&mut tx.connection())
        .await?;
    for order in find::with_ids(tx, ids).await? {
        publish(tx, &order)?;
    }
    Ok(())
}
