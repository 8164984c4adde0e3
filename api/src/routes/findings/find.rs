//! GET /v1/findings/{finding_id}

use actix_web::get;
use rimeyard_store::finding::{self, Finding};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one finding.
#[utoipa::path(
    tag = "findings",
    responses((status = 200, description = "The finding.", body = Finding)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/findings/{finding_id}")]
pub async fn find(who: Signed, finding_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| finding::find(tx, *finding_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
