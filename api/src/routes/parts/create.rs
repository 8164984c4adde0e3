//! POST /v1/units/{unit_id}/parts

use actix_web::post;
use rimeyard_store::fitted_part::{self, FittedPart, NewFitting};
use rimeyard_store::unit;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Fit a part: renewed, turned or adjusted.
///
/// It takes the place of what was there: that path of wear ends and the next begins.
#[utoipa::path(
    tag = "parts",
    responses((status = 201, description = "The part, as fitted.", body = FittedPart)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[post("/v1/units/{unit_id}/parts")]
pub async fn create(
    who: Signed,
    Path(unit_id): Path<Uuid>,
    body: Json<NewFitting>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![unit::find(tx, unit_id).await?.depot_id]),
        async |tx| {
            let part = fitted_part::fit(tx, unit_id, &new).await?;
            Ok(Answer::created(
                format!("/v1/units/{unit_id}/parts/{}", part.id),
                &part,
                part.rev,
            ))
        },
    )
    .await
}
