//! GET /depots/{depot_id}: one depot, its work and its machines.

use actix_web::get;
use maud::{Markup, html};
use rimeyard_rules::because::{number, quantity};
use rimeyard_rules::depot::{DepotDocument, WorkState};
use rimeyard_rules::sheet::RateUnit;
use rimeyard_rules::unit::UnitDocument;
use rimeyard_store::{alert, depot as depots, state};
use uuid::Uuid;

use super::district::score;
use super::html::{Page, Refused};
use super::owed;
use super::words::{how_old, instant, per_cent, status, zone};
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Show one depot: its score with all reasons, its kinds of work, its machines.
#[utoipa::path(
    tag = "page",
    params(("depot_id" = Uuid, Path)),
    responses((status = 200, description = "The depot.", content_type = "text/html")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/depots/{depot_id}")]
pub async fn depot(who: Signed, depot_id: Result<Path<Uuid>, Problem>) -> Result<Page, Refused> {
    let depot_id = *depot_id?;
    let of_it = alert::Filter {
        depot_id: Some(depot_id),
        open: Some(true),
        ..alert::Filter::default()
    };
    let (found, own, alerts) = who
        .read(async |tx| {
            futures::try_join!(
                state::depot(tx, depot_id),
                depots::find(tx, depot_id),
                alert::worst(tx, of_it, owed::ALERTS_MAX)
            )
        })
        .await?;
    let zone = zone(own.zone.as_str());
    let Some(shown) = &found.depot.shown else {
        let content = html! { h1 { (found.depot.name) } p { "It is being computed; look again in a moment." } };
        return Ok(Page::signed(
            &found.depot.name,
            Some(("/", "Depots")),
            content,
        ));
    };
    let document: DepotDocument =
        serde_json::from_str(&shown.document).map_err(Problem::internal)?;
    let mut machines = found
        .units
        .iter()
        .map(|(text, _)| serde_json::from_str(text))
        .collect::<Result<Vec<UnitDocument>, _>>()
        .map_err(Problem::internal)?;
    machines.sort_by(|left, right| {
        left.status
            .cmp(&right.status)
            .then(left.chance.total_cmp(&right.chance))
            .then_with(|| left.tag.cmp(&right.tag))
    });
    let content = html! {
        h1 { (document.name) }
        p {
            "For " (document.storm.name)
            @if let Some(starts_at) = document.storm.starts_at { ", from " (instant(starts_at, &zone)) }
            @if let Some(ends_at) = document.storm.ends_at { " to " (instant(ends_at, &zone)) }
            ": score " strong { (score(document.score)) }
            @if document.score_with_unproven != document.score {
                "; " (score(document.score_with_unproven)) " if the unproven machines were proven as they are"
            }
            "."
        }
        (how_old(shown, &zone))
        h2 { "Why" }
        ul { @for reason in &document.because {
            li {
                (reason.text)
                @if let Some(unit_id) = reason.unit_id { " " a href={ "/machines/" (unit_id) } { "to the machine" } }
            }
        } }
        (owed::alerts("To be seen to", alerts, |_| zone.clone()))
        @if !document.works.is_empty() { (works(&document.works)) }
        h2 { "Machines" }
        @if machines.is_empty() { p { "None." } } @else { (table(&machines)) }
        (owed::due(&machines))
    };
    Ok(Page::signed(&document.name, Some(("/", "Depots")), content))
}

fn works(works: &[WorkState]) -> Markup {
    let figure =
        |figure: Option<f64>| figure.map_or("\u{2013}".to_owned(), |figure| format!("{figure:.0}"));
    html! {
        h2 { "Its work" }
        div.scroll tabindex="0" role="region" aria-label="Kinds of work" {
            table {
                thead { tr {
                    th scope="col" { "Work" }
                    th.figure scope="col" { "Score" }
                    th.figure scope="col" { "Needed" }
                    th.figure scope="col" { "Machines that count" }
                    th.figure scope="col" { "Operators" }
                    th.figure scope="col" { "One machine fewer / more" }
                    th.figure scope="col" { "One operator fewer / more" }
                } }
                tbody { @for work in works { tr {
                    th scope="row" {
                        (work.work.doing())
                        @if let Some(width) = work.narrowest_width_mm { ", at most " (quantity(width, "mm")) " wide" }
                    }
                    td.figure { (figure(Some(work.score))) }
                    td.figure { (rate(work.needed_rate, work.rate_unit)) }
                    td.figure { (work.machines_counting) " of " (work.machines) }
                    td.figure { @match work.operators { Some(operators) => (operators), None => "none entered" } }
                    td.figure { (figure(work.one_machine_fewer)) " / " (figure(work.one_machine_more)) }
                    td.figure { (figure(work.one_operator_fewer)) " / " (figure(work.one_operator_more)) }
                } } }
            }
        }
    }
}

/// A rate with its unit.
fn rate(rate: f64, unit: RateUnit) -> String {
    let written = match unit {
        RateUnit::Ground => "m\u{b2}/h",
        RateUnit::Material => "kg/h",
    };
    quantity(number(rate, unit.decimals()), written).to_string()
}

fn table(machines: &[UnitDocument]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Machines" {
            table {
                thead { tr {
                    th scope="col" { "Tag" }
                    th scope="col" { "Stands" }
                    th.figure scope="col" { "Through the storm" }
                    th.figure scope="col" { "Rate" }
                    th scope="col" { "In short" }
                } }
                tbody { @for machine in machines { tr {
                    th scope="row" { a href={ "/machines/" (machine.unit_id) } { (machine.tag) } }
                    td { (status(machine.status)) @if machine.away.is_some() { ", away" } }
                    td.figure { (per_cent(machine.chance)) }
                    td.figure { (rate(machine.rate, machine.rate_unit)) }
                    td { (machine.summary) }
                } } }
            }
        }
    }
}
