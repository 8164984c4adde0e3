//! GET /v1/parts/{listed_part_id}

use actix_web::get;
use rimeyard_store::part::{self, Part};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one part of the list.
#[utoipa::path(
    tag = "parts list",
    responses((status = 200, description = "The part.", body = Part)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/parts/{listed_part_id}")]
pub async fn find(who: Signed, listed_part_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| part::find(tx, *listed_part_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
