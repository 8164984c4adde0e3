//! What follows from findings: each that calls for a job gets a line on its unit's order in state `found`, which is made
//! if there is none; orders whose findings changed are published anew. Said again, nothing is added.

use std::collections::{BTreeMap, BTreeSet};

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use rimeyard_rules::order::State;
use rimeyard_rules::sheet::Sheet;
use uuid::Uuid;

use super::create::on_orders;
use super::lines::called_for;
use super::{OrderLine, WorkOrder, find, parts, store};
use crate::change::difference;
use crate::feed::{Write, kind};
use crate::finding::Finding;
use crate::json::json;
use crate::machine::Machine;
use crate::schema::work_order;
use crate::{Result, Tx, clock};

/// So many lines are put on one order by themselves: a document holds 64 KiB, whatever sheets say.
const ROOM: usize = 20;

/// A finding that inspections just recorded bear on.
pub(crate) struct Found<'a> {
    /// The finding, as it is now.
    pub(crate) finding: &'a Finding,
    /// The sheet of its unit.
    pub(crate) sheet: &'a Sheet,
    /// Whether it is another than before.
    pub(crate) changed: bool,
    /// Whether it is on record that it is so now: opened, or found again.
    pub(crate) said: bool,
}

impl Found<'_> {
    /// Whether it calls for a line: it is open, it was said so now, and its sheet has a job for it.
    fn calls(&self) -> bool {
        let job = || {
            let check = self.sheet.check_spec(&self.finding.check)?;
            self.sheet.job_for(check)
        };
        self.finding.closed_at.is_none() && self.said && job().is_some()
    }
}

/// Sees to the orders of these findings, and answers with the open order that each is on. `machines` are their units'.
pub(crate) async fn follow(
    tx: &mut Write<'_>,
    machines: &BTreeMap<Uuid, Machine>,
    found: &[Found<'_>],
) -> Result<BTreeMap<Uuid, Uuid>> {
    let concerned = found.iter().filter(|found| found.changed || found.calls());
    let ids: Vec<Uuid> = concerned.map(|found| found.finding.id).collect();
    if ids.is_empty() {
        return Ok(BTreeMap::new());
    }
    let on = on_orders(tx, &ids).await?;
    let mut orders: BTreeMap<Uuid, Uuid> = on
        .iter()
        .filter(|on| !on.state.is_final())
        .map(|on| (on.finding_id, on.order_id))
        .collect();
    // One that was dropped with words is not asked for again; one that was closed and is open again is.
    let settled: BTreeSet<Uuid> = on
        .iter()
        .filter(|on| on.state != State::Closed)
        .map(|on| on.finding_id)
        .collect();
    let mut wanted: BTreeMap<Uuid, Vec<OrderLine>> = BTreeMap::new();
    for found in found.iter().filter(|found| found.calls()) {
        let in_use = machines
            .get(&found.finding.unit_id)
            .is_some_and(|machine| machine.retired_at.is_none());
        if in_use && !settled.contains(&found.finding.id) {
            let line = called_for(found.sheet, found.finding);
            wanted.entry(found.finding.unit_id).or_default().push(line);
        }
    }
    let changed: BTreeSet<Uuid> = found
        .iter()
        .filter(|found| found.changed)
        .filter_map(|found| orders.get(&found.finding.id).copied())
        .collect();
    let written = add(tx, machines, wanted).await?;
    for order in &written {
        let findings = order.lines.iter().filter_map(|line| line.finding_id);
        orders.extend(findings.map(|finding| (finding, order.id)));
    }
    let touched = changed
        .into_iter()
        .filter(|id| written.iter().all(|order| order.id != *id));
    store::touch(tx, &touched.collect::<Vec<_>>()).await?;
    Ok(orders)
}

/// Puts lines on their units' orders, and answers with these.
async fn add(
    tx: &mut Write<'_>,
    machines: &BTreeMap<Uuid, Machine>,
    wanted: BTreeMap<Uuid, Vec<OrderLine>>,
) -> Result<Vec<WorkOrder>> {
    if wanted.is_empty() {
        return Ok(Vec::new());
    }
    let lines: Vec<OrderLine> = wanted.values().flatten().cloned().collect();
    let units: Vec<Uuid> = wanted.keys().copied().collect();
    let named = parts::of_lines(tx, &lines).await?;
    let mut there = in_state_found(tx, &units).await?;
    let by = tx.person_id()?;
    let (mut written, mut made) = (Vec::new(), Vec::new());
    let wanted = wanted
        .into_iter()
        .flat_map(|(unit_id, lines)| pieces(lines).map(move |lines| (unit_id, lines)));
    for (unit_id, lines) in wanted {
        let has_room = |order: &WorkOrder| {
            order.unit_id == unit_id
                && order.depot_id == machines[&unit_id].depot_id
                && order.lines.len() + lines.len() <= ROOM
        };
        let since = lines
            .iter()
            .filter_map(|line| Some(line.finding.as_ref()?.opened_at))
            .min();
        if let Some(index) = there.iter().position(has_room) {
            let before = there.swap_remove(index);
            let mut order = before.clone();
            parts::add(&mut order.needs, &lines, &named);
            order.lines.extend(lines);
            order.rev += 1;
            store::update(tx, &order).await?;
            store::publish(tx, &order)?;
            let what = difference(&json(&before)?, &json(&order)?);
            tx.audit(order.depot_id, "update", kind::WORK_ORDER, order.id, what);
            written.push(order);
        } else {
            let mut needs = Vec::new();
            parts::add(&mut needs, &lines, &named);
            made.push(WorkOrder {
                id: Uuid::now_v7(),
                unit_id,
                depot_id: machines[&unit_id].depot_id,
                state: State::Found,
                title: lines[0].title.clone(),
                symptom: None,
                noticed_at: None,
                planned_for: None,
                assigned_to: None,
                waits_for: None,
                lines,
                needs,
                used: Vec::new(),
                downtime: Vec::new(),
                note: None,
                drop_reason: None,
                proved_by: None,
                opened_at: since.unwrap_or_else(clock::now),
                opened_by: by,
                ended_at: None,
                ended_by: None,
                rev: 1,
            });
        }
    }
    store::insert(tx, &made).await?;
    written.extend(made);
    Ok(written)
}

/// Lines by the order.
fn pieces(lines: Vec<OrderLine>) -> impl Iterator<Item = Vec<OrderLine>> {
    let mut rest = lines.into_iter();
    std::iter::from_fn(move || {
        let piece: Vec<OrderLine> = rest.by_ref().take(ROOM).collect();
        (!piece.is_empty()).then_some(piece)
    })
}

/// The orders of these units that nobody has planned anything about yet, the oldest first.
async fn in_state_found(tx: &Tx<'_>, unit_ids: &[Uuid]) -> Result<Vec<WorkOrder>> {
    let ids: Vec<Uuid> = work_order::table
        .filter(work_order::org_id.eq(tx.org_id()))
        .filter(work_order::unit_id.eq_any(unit_ids))
        .filter(work_order::state.eq(State::Found.as_str()))
        .select(work_order::id)
        .load(&mut tx.connection())
        .await?;
    find::with_ids(tx, &ids).await
}
