//! GET /v1/inspections/{inspection_id}

use actix_web::get;
use rimeyard_store::inspection::{self, Inspection, JudgedReading};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one inspection.
#[utoipa::path(
    tag = "inspections",
    responses((status = 200, description = "The inspection, each reading with its verdict and what that stands on.", body = Inspection<JudgedReading>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/inspections/{inspection_id}")]
pub async fn find(who: Signed, inspection_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| inspection::find(tx, *inspection_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
