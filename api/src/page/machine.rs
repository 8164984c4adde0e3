//! GET /machines/{unit_id}: one machine, and every reason for where it stands.

use actix_web::get;
use maud::{Markup, html};
use rimeyard_rules::because::Reason;
use rimeyard_rules::unit::UnitDocument;
use rimeyard_rules::unit::parts::PartState;
use rimeyard_store::{alert, depot, state};
use uuid::Uuid;

use super::html::{Page, Refused};
use super::owed;
use super::words::{how_old, instant, per_cent, status, zone};
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Show one machine: where it stands for the storm, each factor of its chance, what is to be done about its parts.
#[utoipa::path(
    tag = "page",
    params(("unit_id" = Uuid, Path)),
    responses((status = 200, description = "The machine.", content_type = "text/html")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/machines/{unit_id}")]
pub async fn machine(who: Signed, unit_id: Result<Path<Uuid>, Problem>) -> Result<Page, Refused> {
    let unit_id = *unit_id?;
    let (unit, depot, alerts) = who
        .read(async |tx| {
            let unit = state::unit(tx, unit_id).await?;
            let of_it = alert::Filter {
                unit_id: Some(unit_id),
                open: Some(true),
                ..alert::Filter::default()
            };
            let (depot, alerts) = futures::try_join!(
                depot::find(tx, unit.depot_id),
                alert::worst(tx, of_it, owed::ALERTS_MAX)
            )?;
            Ok((unit, depot, alerts))
        })
        .await?;
    let up = format!("/depots/{}", depot.id);
    let back = Some((up.as_str(), depot.name.as_str()));
    let Some(shown) = &unit.shown else {
        let content =
            html! { h1 { (unit.tag) } p { "It is being computed; look again in a moment." } };
        return Ok(Page::signed(&unit.tag, back, content));
    };
    let zone = zone(depot.zone.as_str());
    let document: UnitDocument =
        serde_json::from_str(&shown.document).map_err(Problem::internal)?;
    let proof = &document.proof;
    let content = html! {
        h1 { "Machine " (document.tag) }
        p { strong { (status(document.status)) } " \u{2013} " (document.summary) }
        @if let Some(place) = &document.away { p { "Away: " (place) } }
        (how_old(shown, &zone))
        (owed::alerts("To be seen to", alerts, |_| zone.clone()))
        h2 { "Why" }
        (factors(&document.because))
        h2 { "Proof" }
        ul {
            li { @match proof.started_at { Some(at) => { "Last seen to start " (instant(at, &zone)) }, None => "Nobody has reported a start." } }
            li { @match proof.inspected_at { Some(at) => { "Inspected " (instant(at, &zone)) }, None => "Not inspected this season." } }
            @if let Some(by) = &proof.by { li { "By " (by) } }
            @if let Some(at) = proof.runs_out_at { li { "The proof runs out " (instant(at, &zone)) } }
        }
        @if !document.findings.is_empty() {
            h2 { "Open findings" }
            ul { @for finding in &document.findings { li { (finding.text) " (" (instant(finding.opened_at, &zone)) ")" } } }
        }
        h2 { "Tasks" }
        (owed::tasks(&document.tasks))
        h2 { "Parts" }
        (parts(&document.parts))
    };
    Ok(Page::signed(&document.tag, back, content))
}

fn factors(because: &[Reason]) -> Markup {
    html! {
        p { "Its chance is the product of these. The share says how much of the doubt each one makes." }
        div.scroll tabindex="0" role="region" aria-label="Reasons" {
            table {
                thead { tr {
                    th.figure scope="col" { "Chance" }
                    th.figure scope="col" { "Share" }
                    th scope="col" { "What" }
                } }
                tbody { @for reason in because { tr {
                    td.figure { (per_cent(reason.chance)) }
                    td.figure { (per_cent(reason.share)) }
                    td { (reason.text) }
                } } }
            }
        }
    }
}

fn parts(parts: &[PartState]) -> Markup {
    html! {
        div.scroll tabindex="0" role="region" aria-label="Parts" {
            table {
                thead { tr {
                    th scope="col" { "Part" }
                    th scope="col" { "Do" }
                    th.figure scope="col" { "Storm" }
                    th.figure scope="col" { "This season" }
                    th.figure scope="col" { "Next season" }
                    th scope="col" { "In words" }
                } }
                tbody { @for part in parts { tr {
                    th scope="row" { (part.title) }
                    td { (part.advice.words()) }
                    td.figure { (per_cent(part.lasts.storm)) }
                    td.figure { (per_cent(part.lasts.this_season)) }
                    td.figure { (per_cent(part.lasts.next_season)) }
                    td { (part.text) }
                } } }
            }
        }
    }
}
