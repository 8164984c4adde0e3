//! Work orders, changed.

use jiff::Timestamp;
use rimeyard_rules::order::State;
use rimeyard_rules::stock::Move;
use uuid::Uuid;

use super::create::{Context, check, may_work};
use super::{
    DOWNTIME_MAX, Downtime, NewUse, PARTS_MAX, WorkOrder, WorkOrderChange, close, find, lines,
    parts, store, tasks,
};
use crate::change::difference;
use crate::feed::{Write, kind};
use crate::json::json;
use crate::machine::machines;
use crate::stock::{self, NewStockMove};
use crate::{Error, Result, clock, fields};

/// Changes an order that stands at `rev`; what it uses is booked in the same commit. Lock the scope of its depot; the
/// tenant must be a person.
///
/// # Errors
/// [`Error::NotFound`], [`Error::Stale`], [`Error::Conflict`] for an order that is closed or dropped,
/// [`Error::Invalid`], [`Error::Faults`] for what bars it from closing.
pub async fn update(
    tx: &mut Write<'_>,
    id: Uuid,
    rev: i64,
    change: &WorkOrderChange,
) -> Result<WorkOrder> {
    update_as_of(tx, id, rev, change, clock::now()).await
}

/// As [`update`], of an order that was kept elsewhere and is told later: where it ends, it ended at `at`.
///
/// # Errors
/// As [`update`].
pub async fn update_as_of(
    tx: &mut Write<'_>,
    id: Uuid,
    rev: i64,
    change: &WorkOrderChange,
    at: Timestamp,
) -> Result<WorkOrder> {
    let before = find(tx, id).await?;
    tx.must_hold(before.depot_id)?;
    if before.rev != rev {
        return Err(Error::Stale);
    }
    if before.state.is_final() {
        let state = before.state.as_str();
        return Err(Error::conflict(
            "",
            format!("the order is {state} and stays as it is; open another one"),
        ));
    }
    let mut order = before.clone();
    if let Some(uses) = &change.uses {
        book(tx, &order, uses).await?;
        order = find(tx, id).await?;
    }
    change.apply(&mut order);
    order.rev += 1;
    if let Some(changes) = &change.lines {
        let machines = machines(tx, &[order.unit_id]).await?;
        let machine = machines
            .get(&order.unit_id)
            .ok_or(Error::NotFound { what: "unit" })?;
        let context = Context::of(tx, order.unit_id, machine.model_id).await?;
        let there = order.lines.len();
        lines::change(&mut order, &context.known(), changes, clock::now())?;
        if change.needs.is_none() {
            let added = &order.lines[there..];
            let named = parts::of_lines(tx, added).await?;
            parts::add(&mut order.needs, added, &named);
        }
    }
    if let Some(waits_for) = &order.waits_for {
        fields::line("waits_for", waits_for, 1..=200)?;
    }
    if change.downtime.is_some() {
        check_downtime(&mut order.downtime)?;
    }
    check(&order)?;
    if change.needs.is_some() {
        parts::check(tx, &order.needs).await?;
    }
    if change.assigned_to.is_some() {
        may_work(tx, &order).await?;
    }
    if change.proved_by.is_some() {
        close::proof(tx, &order).await?;
    }
    become_(tx, &mut order, change, at).await?;
    store::update(tx, &order).await?;
    store::publish(tx, &order)?;
    tx.mark(order.depot_id);
    let what = difference(&json(&before)?, &json(&order)?);
    tx.audit(order.depot_id, "update", kind::WORK_ORDER, id, what);
    // Dropped, too: what was ticked off was done.
    if order.state.is_final() {
        tasks::record(tx, &order).await?;
    }
    Ok(order)
}

/// Takes the state that is asked for, if the order may.
async fn become_(
    tx: &Write<'_>,
    order: &mut WorkOrder,
    change: &WorkOrderChange,
    at: Timestamp,
) -> Result<()> {
    let to = change.state.unwrap_or(order.state);
    match (&change.drop_reason, to) {
        (Some(reason), State::Dropped) => fields::lines("drop_reason", reason, 1..=500)?,
        (None, State::Dropped) => {
            return Err(Error::invalid(
                "drop_reason",
                "is missing: say why it will not be done",
            ));
        }
        (Some(_), _) => {
            return Err(Error::invalid(
                "drop_reason",
                "belongs to state dropped; leave it out",
            ));
        }
        (None, _) => {}
    }
    if to != State::WaitsForParts {
        if change.waits_for.as_ref().is_some_and(Option::is_some) {
            return Err(Error::invalid(
                "waits_for",
                "belongs to an order that waits for parts; leave it out",
            ));
        }
        order.waits_for = None;
    }
    if to == order.state {
        return Ok(());
    }
    order
        .state
        .may_become(to)
        .map_err(|problem| Error::invalid("state", problem))?;
    match to {
        State::WaitsForParts
            if order.waits_for.is_none() && !parts::is_short(tx, order).await? =>
        {
            return Err(Error::invalid(
                "waits_for",
                "is missing: no part that the order needs is short on the shelf here; say what it waits for",
            ));
        }
        State::Closed => close::may_close(tx, order).await?,
        _ => {}
    }
    order.state = to;
    if to.is_final() {
        order.drop_reason.clone_from(&change.drop_reason);
        order.ended_at = Some(clock::kept(at).min(clock::now()));
        order.ended_by = Some(tx.person_id()?);
    }
    Ok(())
}

/// Books what is used from the shelf of the order's depot.
async fn book(tx: &mut Write<'_>, order: &WorkOrder, uses: &[NewUse]) -> Result<()> {
    fields::count("uses", uses, PARTS_MAX)?;
    let now = clock::now();
    let moves: Vec<NewStockMove> = uses
        .iter()
        .map(|used| NewStockMove {
            id: None,
            kind: Move::Used,
            part_id: used.part_id,
            quantity: used.quantity,
            lot: used.lot.clone(),
            to_depot_id: None,
            work_order_id: Some(order.id),
            reason: None,
            happened_at: used.happened_at.unwrap_or(now),
            corrects: None,
        })
        .collect();
    stock::book(tx, order.depot_id, &moves)
        .await
        .map_err(|error| error.within("uses"))?;
    Ok(())
}

/// What no downtime may be. It is kept in its order.
fn check_downtime(downtime: &mut [Downtime]) -> Result<()> {
    fields::count("downtime", downtime, DOWNTIME_MAX)?;
    let now = clock::now();
    let not_to_come = |field: String, at: Timestamp| {
        let at = fields::instant(&field, at)?;
        if at > now + jiff::SignedDuration::from_mins(5) {
            return Err(Error::invalid(
                field,
                "lies in the future; say it when it has come to pass",
            ));
        }
        Ok(at)
    };
    for (index, span) in downtime.iter_mut().enumerate() {
        let field = |name: &str| format!("downtime[{index}].{name}");
        fields::line(&field("reason"), &span.reason, 1..=200)?;
        span.from = not_to_come(field("from"), span.from)?;
        if let Some(to) = span.to {
            let to = not_to_come(field("to"), to)?;
            if to <= span.from {
                return Err(Error::invalid(field("to"), "must be later than from"));
            }
            span.to = Some(to);
        }
    }
    for (index, span) in downtime.iter().enumerate() {
        let meets = |other: &Downtime| {
            other.to.is_none_or(|to| to > span.from) && span.to.is_none_or(|to| to > other.from)
        };
        if downtime[..index].iter().any(meets) {
            return Err(Error::invalid(
                format!("downtime[{index}].from"),
                "is in a span given before; give spans that do not overlap",
            ));
        }
    }
    downtime.sort_by_key(|span| span.from);
    Ok(())
}
