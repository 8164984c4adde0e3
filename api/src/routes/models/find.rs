//! GET /v1/models/{model_id}

use actix_web::get;
use rimeyard_store::model::{self, Model};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one model.
#[utoipa::path(
    tag = "models",
    responses((status = 200, description = "The model.", body = Model)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/models/{model_id}")]
pub async fn find(who: Signed, model_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| model::find(tx, *model_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
