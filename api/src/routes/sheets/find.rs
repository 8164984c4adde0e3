//! GET /v1/models/{model_id}/sheets/{version}

use actix_web::get;
use rimeyard_store::sheet::{self, VersionedSheet};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one version of a model's sheet.
#[utoipa::path(
    tag = "sheets",
    responses((status = 200, description = "The version, with what it says.", body = VersionedSheet)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/models/{model_id}/sheets/{version}")]
pub async fn find(
    who: Signed,
    Path((model_id, version)): Path<(Uuid, i32)>,
) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| sheet::find(tx, model_id, version).await)
        .await?;
    Ok(Answer::object(&found, found.version.into()))
}
