//! PATCH /v1/checklists/{checklist_id}

use actix_web::patch;
use rimeyard_store::checklist::{self, Checklist, ChecklistChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Change a checklist's name.
///
/// What it says changes by a new version.
#[utoipa::path(
    tag = "checklists",
    responses((status = 200, description = "The checklist, as changed.", body = Checklist)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[patch("/v1/checklists/{checklist_id}")]
pub async fn update(
    who: Signed,
    checklist_id: Path<Uuid>,
    body: Json<ChecklistChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let checklist = checklist::update(tx, *checklist_id, rev, &change).await?;
        Ok(Answer::object(&checklist, checklist.rev))
    })
    .await
}
