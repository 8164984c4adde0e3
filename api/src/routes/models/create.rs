//! POST /v1/models

use actix_web::post;
use rimeyard_store::model::{self, Model, NewModel};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Create a model with the first version of its sheet.
#[utoipa::path(
    tag = "models",
    responses((status = 201, description = "The model, as created.", body = Model)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/models")]
pub async fn create(who: Signed, body: Json<NewModel>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let model = model::create(tx, &new).await?;
        Ok(Answer::created(
            format!("/v1/models/{}", model.id),
            &model,
            model.rev,
        ))
    })
    .await
}
