//! GET /v1/checklists/{checklist_id}

use actix_web::get;
use rimeyard_store::checklist::{self, Checklist};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one checklist, with the version in use.
#[utoipa::path(
    tag = "checklists",
    responses((status = 200, description = "The checklist.", body = Checklist)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/checklists/{checklist_id}")]
pub async fn find(who: Signed, checklist_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| checklist::find(tx, *checklist_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
