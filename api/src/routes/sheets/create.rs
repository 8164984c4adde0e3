//! POST /v1/models/{model_id}/sheets

use actix_web::post;
use rimeyard_rules::sheet::Sheet;
use rimeyard_store::sheet::{self, VersionedSheet};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Give a model a new version of its sheet.
///
/// The body is the whole sheet. The versions before stay as they are; every depot with such a unit is computed anew.
#[utoipa::path(
    tag = "sheets",
    responses((status = 201, description = "The new version.", body = VersionedSheet)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/models/{model_id}/sheets")]
pub async fn create(
    who: Signed,
    Path(model_id): Path<Uuid>,
    body: Json<Sheet>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let sheet = sheet::create(tx, model_id, new.clone()).await?;
        Ok(Answer::created(
            format!("/v1/models/{model_id}/sheets/{}", sheet.version),
            &sheet,
            sheet.version.into(),
        ))
    })
    .await
}
