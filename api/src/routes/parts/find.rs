//! GET /v1/units/{unit_id}/parts/{part_id}

use actix_web::get;
use rimeyard_store::fitted_part::{self, FittedPart};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one part as fitted to a unit.
#[utoipa::path(
    tag = "parts",
    responses((status = 200, description = "The part.", body = FittedPart)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/parts/{part_id}")]
pub async fn find(
    who: Signed,
    Path((unit_id, part_id)): Path<(Uuid, Uuid)>,
) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| fitted_part::find(tx, unit_id, part_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
