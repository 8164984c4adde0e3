//! The tasks of an order that closes are done: each is a fact of its own, with the order beside it.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::WorkOrder;
use crate::feed::Write;
use crate::machine::machines;
use crate::task_done::{self, NewTaskDone};
use crate::{Result, sheet};

/// Records the tasks that the lines of an order did, each once, at the latest of its lines. One that is no longer on the
/// unit's sheet is owed by nobody and stays on the order only.
pub(super) async fn record(tx: &mut Write<'_>, order: &WorkOrder) -> Result<()> {
    let mut done: BTreeMap<&str, Timestamp> = BTreeMap::new();
    for line in &order.lines {
        if let (Some(task), Some(done_at)) = (&line.task, line.done_at) {
            let at = done.entry(task).or_insert(done_at);
            *at = done_at.max(*at);
        }
    }
    if done.is_empty() {
        return Ok(());
    }
    let machines = machines(tx, &[order.unit_id]).await?;
    let models: Vec<_> = machines.values().map(|machine| machine.model_id).collect();
    let sheets = sheet::present(tx, &models).await?;
    let owed = done
        .into_iter()
        .filter(|(task, _)| sheets.values().any(|sheet| sheet.task(task).is_some()));
    let done: Vec<_> = owed
        .map(|(task, done_at)| {
            let new = NewTaskDone {
                id: None,
                task: task.to_owned(),
                done: true,
                done_at,
                run_hours: None,
                note: None,
                corrects: None,
            };
            (order.unit_id, new)
        })
        .collect();
    task_done::record_many(tx, &done, Some(order.id)).await
}
