//! GET /v1/checklists/{checklist_id}/versions/{version}

use actix_web::get;
use rimeyard_store::checklist::{self, VersionedChecklist};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one version of a checklist.
#[utoipa::path(
    tag = "checklist versions",
    responses((status = 200, description = "The version, with what it says.", body = VersionedChecklist)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/checklists/{checklist_id}/versions/{version}")]
pub async fn find(
    who: Signed,
    Path((checklist_id, version)): Path<(Uuid, i32)>,
) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| checklist::find_version(tx, checklist_id, version).await)
        .await?;
    Ok(Answer::object(&found, found.version.into()))
}
