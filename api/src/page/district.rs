//! GET /: the district's depots for the coming storm.

use actix_web::get;
use maud::{Markup, html};
use rimeyard_rules::depot::DepotDocument;
use rimeyard_store::state::ShownDepot;
use rimeyard_store::{alert, depot, state};

use super::html::{Page, Refused};
use super::owed;
use super::words::{instant, stale, zone};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// More depots than this are not listed on one page; a district is a dozen or a hundred.
const DEPOTS_MAX: i64 = 500;
/// Reasons told per depot; the rest are one step further.
const REASONS: usize = 3;

/// Show the district's depots for the coming storm.
#[utoipa::path(
    tag = "page",
    responses((status = 200, description = "The depots, the one most likely to fall short first.", content_type = "text/html")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/")]
pub async fn district(who: Signed) -> Result<Page, Refused> {
    let told = alert::Filter {
        open: Some(true),
        escalated: Some(true),
        acknowledged: Some(false),
        ..alert::Filter::default()
    };
    let (shown, depots, told) = who
        .read(async |tx| {
            futures::try_join!(
                state::depots(tx, None, DEPOTS_MAX),
                depot::list(tx, None, None, DEPOTS_MAX),
                alert::worst(tx, told, owed::ALERTS_MAX)
            )
        })
        .await?;
    let cut = depots.len() as i64 == DEPOTS_MAX;
    let mut rows = shown.iter().map(Row::of).collect::<Result<Vec<_>, _>>()?;
    // Who falls short comes first; whom nothing is known of before those who are well.
    rows.sort_by(|left, right| {
        let score = |row: &Row<'_>| row.document.as_ref().and_then(|document| document.score);
        score(left)
            .unwrap_or(-1.0)
            .total_cmp(&score(right).unwrap_or(-1.0))
            .then_with(|| left.shown.name.cmp(&right.shown.name))
    });
    let zone_of = |row: &Row<'_>| {
        depots
            .iter()
            .find(|depot| depot.id == row.shown.depot_id)
            .map(|depot| zone(depot.zone.as_str()))
    };
    let content = html! {
        h1 { "Depots for the coming storm" }
        p {
            "The score is the chance, of 100, that a depot's proven machines and its operators keep up with the snow. \
             The depot most likely to fall short stands first."
        }
        @if cut {
            p { strong { "Only " (DEPOTS_MAX) " depots are listed here; GET /v1/readiness has them all." } }
        }
        @if rows.is_empty() {
            p { "There is no depot yet that you may see. An administrator adds one with POST /v1/depots." }
        } @else {
            div.scroll tabindex="0" role="region" aria-label="Depots" {
                table {
                    thead { tr {
                        th scope="col" { "Depot" }
                        th.figure scope="col" { "Score" }
                        th scope="col" { "Storm" }
                        th scope="col" { "Machines" }
                        th.figure scope="col" { "Operators" }
                        th scope="col" { "Why" }
                    } }
                    tbody {
                        @for row in &rows { (row.markup(zone_of(row))) }
                    }
                }
            }
        }
    };
    let zone_of_depot = |alert: &alert::Alert| {
        let depot = depots.iter().find(|depot| depot.id == alert.depot_id);
        depot.map_or(jiff::tz::TimeZone::UTC, |depot| zone(depot.zone.as_str()))
    };
    let content = html! {
        (content)
        (owed::alerts("Told to the district: nobody took it up in its time", told, zone_of_depot))
    };
    Ok(Page::signed("Depots", None, content))
}

struct Row<'a> {
    shown: &'a ShownDepot,
    document: Option<DepotDocument>,
}

impl<'a> Row<'a> {
    fn of(shown: &'a ShownDepot) -> Result<Self, Problem> {
        let document = shown
            .shown
            .as_ref()
            .map(|shown| serde_json::from_str(&shown.document))
            .transpose()
            .map_err(Problem::internal)?;
        Ok(Row { shown, document })
    }

    fn markup(&self, zone: Option<jiff::tz::TimeZone>) -> Markup {
        let zone = zone.unwrap_or(jiff::tz::TimeZone::UTC);
        let link = html! { a href={ "/depots/" (self.shown.depot_id) } { (self.shown.name) } };
        let Some(document) = &self.document else {
            return html! { tr { th scope="row" { (link) } td colspan="5" { "being computed; look again in a moment" } } };
        };
        let shown = self.shown.shown.as_ref();
        html! {
            tr {
                th scope="row" {
                    (link)
                    @if let Some(shown) = shown { br; span.faint { "as of " (instant(shown.as_of, &zone)) } }
                }
                td.figure.score { (score(document.score)) }
                td {
                    (document.storm.name)
                    @if let Some(starts_at) = document.storm.starts_at { br; span.faint { "from " (instant(starts_at, &zone)) } }
                }
                td { (machines(document)) }
                td.figure { @match document.operators { Some(operators) => (operators), None => "none entered" } }
                td { ul {
                    @if let Some(stale) = shown.and_then(|shown| stale(shown, &zone)) { li { strong { (stale) } } }
                    @for reason in document.because.iter().take(REASONS) { li { (reason.text) } }
                } }
            }
        }
    }
}

/// A score, or that there is none.
pub fn score(score: Option<f64>) -> Markup {
    html! { @match score { Some(score) => (format!("{score:.0}")), None => "no score" } }
}

fn machines(document: &DepotDocument) -> Markup {
    let units = &document.units;
    let counts = [
        (units.ready, "ready"),
        (units.doubtful, "doubtful"),
        (units.not_ready, "not ready"),
        (units.unproven, "unproven"),
        (units.limited, "limited use"),
        (units.stopped, "stopped"),
        (units.held, "held"),
        (units.away, "away"),
    ];
    let said: Vec<String> = counts
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    html! { @if said.is_empty() { "none" } @else { (said.join(", ")) } }
}
