//! GET /v1/imports/{import_id}/faults

use actix_web::{HttpResponse, get};
use rimeyard_rules::table::writer::{guard, write_row};
use rimeyard_store::import;
use uuid::Uuid;

use crate::csv;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Download what is wrong with an import, as a table: row, field, problem.
#[utoipa::path(
    tag = "imports",
    responses((status = 200, description = "The faults, at most 10,000.", body = String, content_type = "text/csv")),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/imports/{import_id}/faults")]
pub async fn faults(who: Signed, import_id: Path<Uuid>) -> Result<HttpResponse, Problem> {
    let faults = who
        .read(async |tx| import::faults(tx, *import_id).await)
        .await?;
    let mut table = String::new();
    write_row(&mut table, ["row", "field", "problem"]);
    for fault in faults {
        let (field, problem) = (guard(&fault.field), guard(&fault.problem));
        write_row(
            &mut table,
            [fault.number.to_string().as_str(), &field, &problem],
        );
    }
    Ok(csv::answer("faults").body(table))
}
