//! GET /v1/exports/{what}

use actix_web::web::{Bytes, Data};
use actix_web::{HttpResponse, get};
use futures::stream::{StreamExt, once, try_unfold};
use rimeyard_rules::table::What;
use rimeyard_rules::table::writer::write_row;
use rimeyard_store::export as tables;
use rimeyard_store::{Tenant, depot};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::csv;
use crate::extract::{Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;
use crate::state::State;

/// Which of them.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// Those of machines that stand at this depot now; of snowfall, this depot's.
    depot_id: Option<Uuid>,
}

/// Download a table as POST /v1/imports takes it: units, inspections, meter-readings or snowfall.
///
/// In the order of tags and times, with every figure as it was entered and its unit beside it or in the header. Machines
/// out of use and facts that were corrected are left out. A text that a spreadsheet could take for a formula (it begins
/// with one of `= + - @`, a tab or a carriage return, and is no number) has an apostrophe before it, and so has one that
/// begins with an apostrophe before one of these; an import takes it away again. The table goes out machine by machine, so what is written meanwhile
/// may be in it or not.
#[utoipa::path(
    tag = "exports",
    params(("what" = inline(What), Path, description = "What its rows are."), Filter),
    responses((status = 200, description = "The table.", body = String, content_type = "text/csv")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/exports/{what}")]
pub async fn export(
    who: Signed,
    what: Path<What>,
    filter: Query<Filter>,
) -> Result<HttpResponse, Problem> {
    let (what, depot_id) = (*what, filter.depot_id);
    if let Some(depot_id) = depot_id {
        who.read(async |tx| depot::find(tx, depot_id).await).await?;
    }
    let mut head = String::new();
    let names = tables::header(what);
    write_row(&mut head, names.iter().map(String::as_str));
    let from = (who.state.clone(), (*who).clone(), None::<String>);
    let rest = try_unfold(from, move |(state, tenant, after)| async move {
        next(&state, &tenant, what, depot_id, after)
            .await
            .map(|found| found.map(|(text, next)| (text, (state, tenant, Some(next)))))
    });
    let table = once(async { Ok(Bytes::from(head)) }).chain(rest);
    Ok(csv::answer(what.word()).streaming(Box::pin(
        table.map(|piece: Result<Bytes, Problem>| piece.map_err(actix_web::Error::from)),
    )))
}

/// The next rows as text, and where those after them begin.
async fn next(
    state: &Data<State>,
    tenant: &Tenant,
    what: What,
    depot_id: Option<Uuid>,
    after: Option<String>,
) -> Result<Option<(Bytes, String)>, Problem> {
    let batch = state
        .database
        .read(tenant, async |tx| {
            tables::batch(tx, what, depot_id, after.as_deref()).await
        })
        .await?;
    let Some(next) = batch.next else {
        return Ok(None);
    };
    let mut text = String::new();
    for row in &batch.rows {
        write_row(&mut text, row.iter().map(String::as_str));
    }
    Ok(Some((Bytes::from(text), next)))
}
