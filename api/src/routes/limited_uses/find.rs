//! GET /v1/limited-use/{limited_use_id}

use actix_web::get;
use rimeyard_store::limited_use::{self, LimitedUse};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one use under stated limits.
#[utoipa::path(
    tag = "limited uses",
    responses((status = 200, description = "The use.", body = LimitedUse)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/limited-use/{limited_use_id}")]
pub async fn find(who: Signed, limited_use_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| limited_use::find(tx, *limited_use_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
