//! GET /v1/units/{unit_id}/checklist

use actix_web::get;
use rimeyard_store::unit::{self, UnitChecklist};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find what is to be looked at on a unit.
///
/// The steps in working order, each with its limits as they stand and with the last reading.
#[utoipa::path(
    tag = "units",
    responses((status = 200, description = "The checklist, for this unit.", body = UnitChecklist)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/checklist")]
pub async fn checklist(who: Signed, unit_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| unit::checklist_of(tx, *unit_id).await)
        .await?;
    Ok(Answer::content(&found))
}
