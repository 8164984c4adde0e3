//! Lines of an order: made out from what is asked for and what the sheet says.

use jiff::Timestamp;
use rimeyard_rules::sheet::{Job, Sheet};
use uuid::Uuid;

use super::{LINES_MAX, LineFinding, NewOrderLine, OrderLine, OrderLineChange, WorkOrder};
use crate::finding::Finding;
use crate::{Error, Result, fields};

/// The most parts of the sheet that a line shows.
const TAKES_MAX: usize = 8;

/// What lines are made out against.
pub(super) struct Known<'a> {
    /// The sheet of the unit's model.
    pub(super) sheet: &'a Sheet,
    /// The open findings of the unit that lines may name.
    pub(super) findings: &'a [Finding],
    /// Which of these are on an open order already, and on which.
    pub(super) taken: &'a [(Uuid, Uuid)],
}

/// A new line at `field`.
pub(super) fn line(known: &Known<'_>, field: &str, new: &NewOrderLine) -> Result<OrderLine> {
    let at = |name: &str| format!("{field}.{name}");
    let of = [
        new.finding_id.is_some(),
        new.task.is_some(),
        new.part.is_some(),
    ];
    if of.into_iter().filter(|is| *is).count() > 1 {
        return Err(Error::invalid(
            field,
            "is for more than one of a finding, a task and a part; make it several lines",
        ));
    }
    let told = if let Some(finding_id) = new.finding_id {
        finding(known, &at("finding_id"), finding_id)?
    } else if let Some(task) = &new.task {
        task_of(known, &at("task"), task)?
    } else if let Some(part) = &new.part {
        renewal(known, &at("part"), part)?
    } else {
        Told::default()
    };
    let title = new
        .title
        .clone()
        .or(told.title)
        .ok_or_else(|| Error::invalid(at("title"), "is missing: say what is to be done"))?;
    let line = OrderLine {
        id: Uuid::now_v7(),
        title,
        minutes_planned: new.minutes_planned.or(told.minutes),
        minutes_worked: None,
        finding_id: new.finding_id,
        finding: told.finding,
        task: new.task.clone(),
        part: new.part.clone(),
        takes: told.takes,
        done: false,
        done_at: None,
        taken_off: None,
    };
    check(field, &line)?;
    Ok(line)
}

/// What the sheet says of a piece of work.
#[derive(Default)]
struct Told {
    title: Option<String>,
    minutes: Option<f64>,
    takes: Vec<String>,
    finding: Option<LineFinding>,
}

impl From<&Job> for Told {
    fn from(job: &Job) -> Self {
        Told {
            title: Some(job.title.clone()),
            minutes: Some(job.minutes.value),
            takes: takes(&job.parts),
            finding: None,
        }
    }
}

fn finding(known: &Known<'_>, field: &str, id: Uuid) -> Result<Told> {
    let finding = known
        .findings
        .iter()
        .find(|finding| finding.id == id)
        .ok_or_else(|| {
            Error::invalid(field, "names no open finding of this unit that you may see")
        })?;
    if let Some((_, order)) = known.taken.iter().find(|(taken, _)| *taken == id) {
        return Err(Error::conflict(
            field,
            format!("is on work order {order} already; change that one"),
        ));
    }
    Ok(of_finding(known.sheet, finding))
}

fn of_finding(sheet: &Sheet, finding: &Finding) -> Told {
    let job = sheet
        .check_spec(&finding.check)
        .and_then(|check| sheet.job_for(check));
    // A check whose sheet has no job for it: what was found is what there is to say.
    let told = job.map_or_else(
        || Told {
            title: Some(shortened(&finding.text)),
            ..Told::default()
        },
        Told::from,
    );
    Told {
        finding: Some(LineFinding {
            check: finding.check.clone(),
            effect: finding.effect,
            text: finding.text.clone(),
            opened_at: finding.opened_at,
            closed_at: finding.closed_at,
        }),
        ..told
    }
}

/// The line that a finding with this job calls for.
pub(super) fn called_for(sheet: &Sheet, found: &Finding) -> OrderLine {
    let told = of_finding(sheet, found);
    OrderLine {
        id: Uuid::now_v7(),
        title: told.title.unwrap_or_default(),
        minutes_planned: told.minutes,
        minutes_worked: None,
        finding_id: Some(found.id),
        finding: told.finding,
        task: None,
        part: None,
        takes: told.takes,
        done: false,
        done_at: None,
        taken_off: None,
    }
}

/// What a line shows of what the sheet says it takes: a document holds 64 KiB.
fn takes(parts: &[String]) -> Vec<String> {
    parts.iter().take(TAKES_MAX).cloned().collect()
}

/// A title holds 200 characters.
fn shortened(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(200).collect()
}

fn task_of(known: &Known<'_>, field: &str, code: &str) -> Result<Told> {
    let task = known.sheet.task(code).ok_or_else(|| {
        let codes = known.sheet.tasks.iter().map(|task| task.task.as_str());
        none_of(field, "task", codes.collect())
    })?;
    Ok(Told {
        title: Some(task.title.clone()),
        minutes: Some(task.minutes.value),
        takes: takes(&task.parts),
        finding: None,
    })
}

fn renewal(known: &Known<'_>, field: &str, code: &str) -> Result<Told> {
    let part = known.sheet.part(code).ok_or_else(|| {
        let codes = known.sheet.parts.iter().map(|part| part.part.as_str());
        none_of(field, "part", codes.collect())
    })?;
    Ok(part.job.as_ref().map_or_else(
        || Told {
            title: Some(shortened(&format!("Renew the {}", part.title))),
            ..Told::default()
        },
        Told::from,
    ))
}

fn none_of(field: &str, what: &str, codes: Vec<&str>) -> Error {
    let codes = if codes.is_empty() {
        "it has none".to_owned()
    } else {
        codes.join(", ")
    };
    Error::invalid(
        field,
        format!("is no {what} of the sheet of this machine; those are: {codes}"),
    )
}

/// Changes the lines of an order as asked, and adds those that are new.
pub(super) fn change(
    order: &mut WorkOrder,
    known: &Known<'_>,
    changes: &[OrderLineChange],
    now: Timestamp,
) -> Result<()> {
    fields::count("lines", changes, LINES_MAX)?;
    for (index, change) in changes.iter().enumerate() {
        let field = format!("lines[{index}]");
        let Some(id) = change.id else {
            let new = NewOrderLine {
                title: change.title.clone(),
                minutes_planned: change.minutes_planned,
                finding_id: change.finding_id,
                task: change.task.clone(),
                part: change.part.clone(),
            };
            let mut added = line(known, &field, &new)?;
            if order
                .lines
                .iter()
                .any(|line| line.finding_id.is_some() && line.finding_id == added.finding_id)
            {
                return Err(Error::conflict(
                    format!("{field}.finding_id"),
                    "is on this order already",
                ));
            }
            work(&mut added, &field, change, now)?;
            order.lines.push(added);
            continue;
        };
        let fixed = [
            ("finding_id", change.finding_id.is_some()),
            ("task", change.task.is_some()),
            ("part", change.part.is_some()),
        ];
        if let Some((name, _)) = fixed.into_iter().find(|(_, given)| *given) {
            return Err(Error::invalid(
                format!("{field}.{name}"),
                "of a line that is there cannot be changed; take the line off and add another",
            ));
        }
        let line = order
            .lines
            .iter_mut()
            .find(|line| line.id == id)
            .ok_or_else(|| Error::invalid(format!("{field}.id"), "names no line of this order"))?;
        if let Some(title) = &change.title {
            line.title.clone_from(title);
        }
        if change.minutes_planned.is_some() {
            line.minutes_planned = change.minutes_planned;
        }
        work(line, &field, change, now)?;
    }
    fields::count("lines", &order.lines, LINES_MAX)
}

/// What was worked on a line.
fn work(line: &mut OrderLine, field: &str, change: &OrderLineChange, now: Timestamp) -> Result<()> {
    let at = |name: &str| format!("{field}.{name}");
    if change.minutes_worked.is_some() {
        line.minutes_worked = change.minutes_worked;
    }
    if let Some(words) = &change.taken_off {
        line.taken_off.clone_from(words);
    }
    if change.done_at.is_some() && change.done == Some(false) {
        return Err(Error::invalid(
            at("done_at"),
            "says when it was done, and done is false; leave one out",
        ));
    }
    if let Some(done_at) = change.done_at {
        let done_at = fields::instant(&at("done_at"), done_at)?;
        // No effect later than its receipt, whatever a clock says.
        line.done_at = Some(done_at.min(now));
    } else {
        match change.done {
            Some(true) => line.done_at = Some(line.done_at.unwrap_or(now)),
            Some(false) => line.done_at = None,
            None => {}
        }
    }
    line.done = line.done_at.is_some();
    if line.done && line.taken_off.is_some() {
        return Err(Error::invalid(
            at("taken_off"),
            "is of a line that is done; say one of the two",
        ));
    }
    check(field, line)
}

/// What no line may be.
fn check(field: &str, line: &OrderLine) -> Result<()> {
    let at = |name: &str| format!("{field}.{name}");
    fields::line(&at("title"), &line.title, 1..=200)?;
    fields::optional_number(
        &at("minutes_planned"),
        line.minutes_planned,
        0.0..=100_000.0,
    )?;
    fields::optional_number(&at("minutes_worked"), line.minutes_worked, 0.0..=100_000.0)?;
    match &line.taken_off {
        Some(words) => fields::lines(&at("taken_off"), words, 1..=500),
        None => Ok(()),
    }
}
