//! POST /v1/parts

use actix_web::post;
use rimeyard_store::part::{self, NewPart, Part};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// List a part that can be on a shelf.
///
/// What sheets name in the `parts` of their jobs and tasks is the part of that name, in whatever letters.
#[utoipa::path(
    tag = "parts list",
    responses((status = 201, description = "The part, as listed.", body = Part)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[post("/v1/parts")]
pub async fn create(who: Signed, body: Json<NewPart>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let part = part::create(tx, &new).await?;
        Ok(Answer::created(
            format!("/v1/parts/{}", part.id),
            &part,
            part.rev,
        ))
    })
    .await
}
