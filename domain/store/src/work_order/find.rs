//! Work orders, read.

use std::collections::BTreeMap;

use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{
    Array, BigInt, Date as SqlDate, Double, Nullable, Text, Timestamptz, Uuid as SqlUuid,
};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff_diesel::NullableTimestamp;
use rimeyard_rules::order::State;
use serde_json::Value;
use uuid::Uuid;

use super::{LineFinding, OrderLine, Used, WorkOrder};
use crate::granted::granted;
use crate::json::{of_json, of_word};
use crate::schema::work_order;
use crate::stock::lot_of;
use crate::{Error, Result, Tx, prepared};

/// Which orders; what is absent does not narrow.
#[derive(Debug, Clone, Copy, Default)]
pub struct Filter {
    /// Of this unit.
    pub unit_id: Option<Uuid>,
    /// Of units that stand, or stood, at this depot.
    pub depot_id: Option<Uuid>,
    /// In this state.
    pub state: Option<State>,
    /// Neither closed nor dropped, or one of the two.
    pub open: Option<bool>,
}

/// At most `limit` orders that the tenant may see, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    filter: Filter,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<WorkOrder>> {
    let mut query = visible(tx);
    if let Some(unit_id) = filter.unit_id {
        query = query.filter(work_order::unit_id.eq(unit_id));
    }
    if let Some(depot_id) = filter.depot_id {
        query = query.filter(work_order::depot_id.eq(depot_id));
    }
    if let Some(state) = filter.state {
        query = query.filter(work_order::state.eq(state.as_str()));
    }
    match filter.open {
        Some(true) => query = query.filter(work_order::ended_at.is_null()),
        Some(false) => query = query.filter(work_order::ended_at.is_not_null()),
        None => {}
    }
    if let Some(after) = after {
        query = query.filter(work_order::id.gt(after));
    }
    let query = query
        .select(Row::as_select())
        .order(work_order::id)
        .limit(limit);
    let rows: Vec<Row> = query.load(&mut tx.connection()).await?;
    whole(tx, rows).await
}

/// One order that the tenant may see.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<WorkOrder> {
    let query = visible(tx)
        .filter(work_order::id.eq(id))
        .select(Row::as_select());
    let row: Row = query.first(&mut tx.connection()).await?;
    let order = whole(tx, vec![row]).await?.pop();
    order.ok_or(Error::NotFound { what: "work order" })
}

fn visible<'a>(tx: &Tx<'_>) -> work_order::BoxedQuery<'a, Pg> {
    let mut query = work_order::table
        .filter(work_order::org_id.eq(tx.org_id()))
        .into_boxed();
    granted!(query, tx, work_order);
    query
}

/// That a unit has no order that is neither closed nor dropped: nothing is left to be done to it.
///
/// # Errors
/// [`Error::Conflict`].
pub(crate) async fn none_open(tx: &Tx<'_>, unit_id: Uuid) -> Result<()> {
    let open: i64 = work_order::table
        .filter(work_order::org_id.eq(tx.org_id()))
        .filter(work_order::unit_id.eq(unit_id))
        .filter(work_order::ended_at.is_null())
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if open == 0 {
        return Ok(());
    }
    Err(Error::conflict(
        "retired_at",
        format!(
            "cannot be set: {open} of its work orders are open; close them, or drop them and say why"
        ),
    ))
}

/// These orders, for a write that concerns them.
pub(super) async fn with_ids(tx: &Tx<'_>, ids: &[Uuid]) -> Result<Vec<WorkOrder>> {
    let rows: Vec<Row> = work_order::table
        .filter(work_order::org_id.eq(tx.org_id()))
        .filter(work_order::id.eq_any(ids))
        .order(work_order::id)
        .select(Row::as_select())
        .load(&mut tx.connection())
        .await?;
    whole(tx, rows).await
}

/// The orders with their lines and what was used for them.
async fn whole(tx: &Tx<'_>, rows: Vec<Row>) -> Result<Vec<WorkOrder>> {
    let ids: Vec<Uuid> = rows.iter().map(|row| row.id).collect();
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    let (mut lines, mut used) = futures::try_join!(lines(tx, &ids), used(tx, &ids))?;
    rows.into_iter()
        .map(|row| {
            let lines = lines.remove(&row.id).unwrap_or_default();
            let used = used.remove(&row.id).unwrap_or_default();
            row.order(lines, used)
        })
        .collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct LineRow {
    #[diesel(sql_type = SqlUuid)]
    work_order_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Nullable<Double>)]
    minutes_planned: Option<f64>,
    #[diesel(sql_type = Nullable<Double>)]
    minutes_worked: Option<f64>,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    finding_id: Option<Uuid>,
    #[diesel(sql_type = Nullable<Text>)]
    task: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    part: Option<String>,
    #[diesel(sql_type = Array<Text>)]
    takes: Vec<String>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = NullableTimestamp)]
    done_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Text>)]
    taken_off: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    check_code: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    effect: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    text: Option<String>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = NullableTimestamp)]
    opened_at: Option<Timestamp>,
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = NullableTimestamp)]
    closed_at: Option<Timestamp>,
}

async fn lines(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeMap<Uuid, Vec<OrderLine>>> {
    let rows: Vec<LineRow> = prepared(
        diesel::sql_query(
            "select l.work_order_id, l.id, l.title, l.minutes_planned, l.minutes_worked, l.finding_id, l.task, l.part,
                    l.takes, l.done_at, l.taken_off, f.check_code, f.effect, f.text, f.opened_at, f.closed_at
             from work_order_line l
             left join finding f on f.org_id = l.org_id and f.id = l.finding_id
             where l.org_id = $1 and l.work_order_id = any($2)
             order by l.work_order_id, l.id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(ids),
    )
    .load(&mut tx.connection())
    .await?;
    let mut lines: BTreeMap<Uuid, Vec<OrderLine>> = BTreeMap::new();
    for row in rows {
        lines
            .entry(row.work_order_id)
            .or_default()
            .push(row.line()?);
    }
    Ok(lines)
}

impl LineRow {
    fn line(self) -> Result<OrderLine> {
        let finding = match (self.check_code, self.effect, self.text, self.opened_at) {
            (Some(check), Some(effect), Some(text), Some(opened_at)) => Some(LineFinding {
                check,
                effect: of_word(effect)?,
                text,
                opened_at,
                closed_at: self.closed_at,
            }),
            _ => None,
        };
        Ok(OrderLine {
            id: self.id,
            title: self.title,
            minutes_planned: self.minutes_planned,
            minutes_worked: self.minutes_worked,
            finding_id: self.finding_id,
            finding,
            task: self.task,
            part: self.part,
            takes: self.takes,
            done: self.done_at.is_some(),
            done_at: self.done_at,
            taken_off: self.taken_off,
        })
    }
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct UsedRow {
    #[diesel(sql_type = SqlUuid)]
    work_order_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    part_id: Uuid,
    #[diesel(sql_type = Text)]
    lot_code: String,
    #[diesel(sql_type = Nullable<SqlDate>, deserialize_as = jiff_diesel::NullableDate)]
    made_on: Option<Date>,
    #[diesel(sql_type = BigInt)]
    quantity: i64,
}

async fn used(tx: &Tx<'_>, ids: &[Uuid]) -> Result<BTreeMap<Uuid, Vec<Used>>> {
    let rows: Vec<UsedRow> = prepared(
        diesel::sql_query(
            "select m.work_order_id, m.part_id, m.lot_code, m.made_on, sum(m.quantity)::bigint as quantity
             from stock_move m
             where m.org_id = $1 and m.work_order_id = any($2) and m.move = 'used' and m.quantity > 0
               and not exists (select from stock_move c where c.org_id = m.org_id and c.corrects = m.id)
             group by m.work_order_id, m.part_id, m.lot_code, m.made_on
             order by m.part_id, m.lot_code, m.made_on",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(ids),
    )
    .load(&mut tx.connection())
    .await?;
    let mut used: BTreeMap<Uuid, Vec<Used>> = BTreeMap::new();
    for row in rows {
        used.entry(row.work_order_id).or_default().push(Used {
            part_id: row.part_id,
            lot: lot_of(&row.lot_code, row.made_on),
            quantity: row.quantity,
        });
    }
    Ok(used)
}

/// The order as the table holds it.
#[derive(Queryable, Selectable)]
#[diesel(table_name = work_order, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    unit_id: Uuid,
    depot_id: Uuid,
    state: String,
    title: String,
    symptom: Option<String>,
    #[diesel(deserialize_as = NullableTimestamp)]
    noticed_at: Option<Timestamp>,
    #[diesel(deserialize_as = jiff_diesel::NullableDate)]
    planned_for: Option<Date>,
    assigned_to: Option<Uuid>,
    waits_for: Option<String>,
    needs: Value,
    downtime: Value,
    note: Option<String>,
    drop_reason: Option<String>,
    proved_by: Option<Uuid>,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    opened_at: Timestamp,
    opened_by: Uuid,
    #[diesel(deserialize_as = NullableTimestamp)]
    ended_at: Option<Timestamp>,
    ended_by: Option<Uuid>,
    rev: i64,
}

impl Row {
    fn order(self, lines: Vec<OrderLine>, used: Vec<Used>) -> Result<WorkOrder> {
        Ok(WorkOrder {
            id: self.id,
            unit_id: self.unit_id,
            depot_id: self.depot_id,
            state: of_word(self.state)?,
            title: self.title,
            symptom: self.symptom,
            noticed_at: self.noticed_at,
            planned_for: self.planned_for,
            assigned_to: self.assigned_to,
            waits_for: self.waits_for,
            lines,
            needs: of_json(self.needs)?,
            used,
            downtime: of_json(self.downtime)?,
            note: self.note,
            drop_reason: self.drop_reason,
            proved_by: self.proved_by,
            opened_at: self.opened_at,
            opened_by: self.opened_by,
            ended_at: self.ended_at,
            ended_by: self.ended_by,
            rev: self.rev,
        })
    }
}
