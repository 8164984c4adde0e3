//! What is owed and what somebody must be told, on pages.

use jiff::tz::TimeZone;
use maud::{Markup, html};
use rimeyard_rules::due::State;
use rimeyard_rules::unit::UnitDocument;
use rimeyard_rules::unit::tasks::TaskState;
use rimeyard_store::alert::Alert;

use super::words::instant;

/// More alerts than this are not told on one page.
pub const ALERTS_MAX: i64 = 50;

/// Alerts in their order; nothing where there are none.
pub fn alerts(title: &str, alerts: Vec<Alert>, zone: impl Fn(&Alert) -> TimeZone) -> Markup {
    html! {
        @if !alerts.is_empty() {
            h2 { (title) }
            ul { @for alert in &alerts { li {
                strong { (alert.severity.as_str()) } ": " (alert.text)
                span.faint {
                    " \u{2013} since " (instant(alert.raised_at, &zone(alert)))
                    @match &alert.acknowledged_with {
                        Some(word) => { "; taken up: " (word) }
                        None => { "; nobody has taken it up" }
                    }
                }
                @if let Some(unit_id) = alert.unit_id { " " a href={ "/machines/" (unit_id) } { "to the machine" } }
            } } }
            @if alerts.len() as i64 == ALERTS_MAX { p { "There may be more: GET /v1/alerts has them all." } }
        }
    }
}

/// The tasks of one machine.
pub fn tasks(tasks: &[TaskState]) -> Markup {
    html! {
        @if tasks.is_empty() { p { "Its sheet has none." } } @else {
            div.scroll tabindex="0" role="region" aria-label="Tasks" {
                table {
                    thead { tr {
                        th scope="col" { "Task" }
                        th scope="col" { "Stands" }
                        th.figure scope="col" { "Date" }
                        th scope="col" { "In words" }
                    } }
                    tbody { @for task in tasks { tr {
                        th scope="row" { (task.title) }
                        td { (state(task)) }
                        td.figure { (date(task)) }
                        td { (task.text) }
                    } } }
                }
            }
        }
    }
}

/// The tasks of a depot's machines that are due or overdue, the longest overdue first.
pub fn due(machines: &[UnitDocument]) -> Markup {
    let owed = machines.iter().flat_map(|machine| {
        let owed = machine.tasks.iter().filter(|task| task.state >= State::Due);
        owed.map(move |task| (machine, task))
    });
    let mut owed: Vec<_> = owed.collect();
    owed.sort_by_key(|(machine, task)| (task.on, machine.tag.as_str()));
    html! {
        h2 { "Tasks due" }
        @if owed.is_empty() { p { "None." } } @else {
            div.scroll tabindex="0" role="region" aria-label="Tasks due" {
                table {
                    thead { tr {
                        th scope="col" { "Machine" }
                        th scope="col" { "Task" }
                        th scope="col" { "Stands" }
                        th.figure scope="col" { "Date" }
                        th.figure scope="col" { "Minutes" }
                    } }
                    tbody { @for (machine, task) in owed { tr {
                        th scope="row" { a href={ "/machines/" (machine.unit_id) } { (machine.tag) } }
                        td { (task.title) }
                        td { (state(task)) }
                        td.figure { (date(task)) }
                        td.figure { (format!("{:.0}", task.minutes)) }
                    } } }
                }
            }
        }
    }
}

fn state(task: &TaskState) -> String {
    let safety = if task.safety { ", for safety" } else { "" };
    format!("{}{safety}", task.state.as_str())
}

fn date(task: &TaskState) -> String {
    let written = |on: jiff::civil::Date| on.strftime("%-d %b %Y").to_string();
    task.on.map_or("\u{2013}".to_owned(), written)
}
