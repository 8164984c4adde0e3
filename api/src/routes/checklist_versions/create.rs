//! POST /v1/checklists/{checklist_id}/versions

use actix_web::post;
use rimeyard_rules::checklist::Checklist;
use rimeyard_store::checklist::{self, VersionedChecklist};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Put a new version of a checklist into use.
///
/// The body is all that it says. The versions before stay as they are.
#[utoipa::path(
    tag = "checklist versions",
    responses((status = 201, description = "The new version.", body = VersionedChecklist)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/checklists/{checklist_id}/versions")]
pub async fn create(
    who: Signed,
    Path(checklist_id): Path<Uuid>,
    body: Json<Checklist>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let version = checklist::create_version(tx, checklist_id, new.clone()).await?;
        Ok(Answer::created(
            format!("/v1/checklists/{checklist_id}/versions/{}", version.version),
            &version,
            version.version.into(),
        ))
    })
    .await
}
