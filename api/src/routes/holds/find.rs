//! GET /v1/holds/{hold_id}

use actix_web::get;
use rimeyard_store::hold::{self, Hold};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one hold tag.
#[utoipa::path(
    tag = "holds",
    responses((status = 200, description = "The hold tag.", body = Hold)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/holds/{hold_id}")]
pub async fn find(who: Signed, hold_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who.read(async |tx| hold::find(tx, *hold_id).await).await?;
    Ok(Answer::object(&found, found.rev))
}
