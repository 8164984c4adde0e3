//! The order that a unit's open findings, due tasks and worn parts ask for. It is proposed and not opened: a person plans.

use std::collections::BTreeSet;

use rimeyard_rules::due::State as TaskStands;
use rimeyard_rules::unit::UnitDocument;
use rimeyard_rules::unit::parts::Advice;
use serde::Serialize;
use uuid::Uuid;

use super::{Filter, find};
use crate::{Error, Result, Tx, finding, state};

/// An order that could be opened, and why.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Proposal {
    /// As POST /v1/work-orders takes it; titles, minutes and parts are then the sheet's. No lines: nothing is asked for.
    pub order: ProposedOrder,
    /// Why, a sentence for each line.
    pub because: Vec<String>,
}

/// An order as it is opened.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct ProposedOrder {
    /// The unit.
    pub unit_id: Uuid,
    /// Open findings first, then tasks that are due, the most urgent first, then parts to be renewed now.
    pub lines: Vec<ProposedLine>,
}

/// A line of one of three kinds.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum ProposedLine {
    /// An open finding.
    FindingId(Uuid),
    /// A task of the sheet that is due or overdue.
    Task(String),
    /// A part of the sheet that may not see the next storm out.
    Part(String),
}

/// An order takes at most so many lines.
const LINES_MAX: usize = 60;

/// What the unit's open findings, due tasks and worn parts ask for, without what its open orders have already, as last
/// computed.
///
/// # Errors
/// [`Error::NotFound`] where there is no such unit.
pub async fn propose(tx: &Tx<'_>, unit_id: Uuid) -> Result<Proposal> {
    let orders = Filter {
        unit_id: Some(unit_id),
        open: Some(true),
        ..Filter::default()
    };
    let findings = finding::Filter {
        unit_id: Some(unit_id),
        open: Some(true),
        ..finding::Filter::default()
    };
    let (shown, orders, findings) = futures::try_join!(
        state::unit(tx, unit_id),
        find::list(tx, orders, None, 200),
        finding::list(tx, findings, None, 200)
    )?;
    let lines = orders.iter().flat_map(|order| &order.lines);
    let taken: BTreeSet<(&'static str, String)> = lines
        .flat_map(|line| {
            let finding = line.finding_id.map(|id| ("finding", id.to_string()));
            let task = line.task.clone().map(|task| ("task", task));
            let part = line.part.clone().map(|part| ("part", part));
            [finding, task, part].into_iter().flatten()
        })
        .collect();
    let free = |kind: &'static str, code: &str| !taken.contains(&(kind, code.to_owned()));
    let mut asked: Vec<(ProposedLine, String)> = Vec::new();
    for finding in findings {
        if free("finding", &finding.id.to_string()) {
            asked.push((ProposedLine::FindingId(finding.id), finding.text));
        }
    }
    if let Some(shown) = shown.shown {
        let document: UnitDocument =
            serde_json::from_str(&shown.document).map_err(Error::internal)?;
        for task in document.tasks {
            if task.state >= TaskStands::Due && free("task", &task.task) {
                asked.push((ProposedLine::Task(task.task), task.text));
            }
        }
        for part in document.parts {
            if part.advice == Advice::RenewNow && free("part", &part.part) {
                asked.push((ProposedLine::Part(part.part), part.text));
            }
        }
    }
    asked.truncate(LINES_MAX);
    let (lines, because) = asked.into_iter().unzip();
    Ok(Proposal {
        order: ProposedOrder { unit_id, lines },
        because,
    })
}
