//! GET /v1/storms/{storm_id}

use actix_web::get;
use rimeyard_store::storm::{self, Storm};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one storm.
#[utoipa::path(
    tag = "storms",
    responses((status = 200, description = "The storm, with those of its depots that you may see.", body = Storm)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/storms/{storm_id}")]
pub async fn find(who: Signed, storm_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| storm::find(tx, *storm_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev).of_reader())
}
