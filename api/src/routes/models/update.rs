//! PATCH /v1/models/{model_id}

use actix_web::patch;
use rimeyard_store::model::{self, Model, ModelChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Change a model.
///
/// A field that is absent stays as it is.
#[utoipa::path(
    tag = "models",
    responses((status = 200, description = "The model, as changed.", body = Model)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[patch("/v1/models/{model_id}")]
pub async fn update(
    who: Signed,
    model_id: Path<Uuid>,
    body: Json<ModelChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let model = model::update(tx, *model_id, rev, &change).await?;
        Ok(Answer::object(&model, model.rev))
    })
    .await
}
