//! POST /v1/checklists

use actix_web::post;
use rimeyard_store::checklist::{self, Checklist, NewChecklist};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Create a checklist with its first version.
#[utoipa::path(
    tag = "checklists",
    responses((status = 201, description = "The checklist, as created.", body = Checklist)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/checklists")]
pub async fn create(who: Signed, body: Json<NewChecklist>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let checklist = checklist::create(tx, &new).await?;
        Ok(Answer::created(
            format!("/v1/checklists/{}", checklist.id),
            &checklist,
            checklist.rev,
        ))
    })
    .await
}
