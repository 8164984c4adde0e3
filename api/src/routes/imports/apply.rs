//! POST /v1/imports/{import_id}/apply

use actix_web::post;
use rimeyard_store::import::{self, Import};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Nothing is to be said: `{}`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Applying {}

/// Have a checked import applied, or a halted one go on.
///
/// It is done in your name and within what you are granted, piece by piece, oldest facts first. What has been applied
/// stands, whatever happens after.
#[utoipa::path(
    tag = "imports",
    responses((status = 202, description = "The import, to be applied.", body = Import)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/imports/{import_id}/apply")]
pub async fn apply(
    who: Signed,
    import_id: Path<Uuid>,
    body: Json<Applying>,
) -> Result<Answer, Problem> {
    let (_, once) = body.into_parts();
    who.write(once, &[], async |tx| {
        let import = import::apply(tx, *import_id).await?;
        Ok(Answer::accepted(
            format!("/v1/imports/{}", import.id),
            &import,
        ))
    })
    .await
}
