//! POST /v1/inspections

use actix_web::post;
use rimeyard_store::Error;
use rimeyard_store::inspection::{self, NewInspection, Recorded};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::INSPECTORS;
use crate::signed::Signed;

/// Record an inspection.
///
/// It may hold any of the checks of the machine's sheet. The answer has the verdict on each, and what followed: findings
/// opened and closed, hold tags hung, work to be done. It is never changed: a correction is a new inspection that names
/// the one it corrects. What contradicts other facts (hours that run backwards or faster than time, a time in the future) is kept and
/// flagged `suspect`.
#[utoipa::path(
    tag = "inspections",
    responses((status = 201, description = "The inspection and what followed.", body = Recorded)),
    extensions(("x-roles" = json!(INSPECTORS)))
)]
#[post("/v1/inspections")]
pub async fn create(who: Signed, body: Json<NewInspection>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let only = std::slice::from_ref(&new);
    who.write_where(
        once,
        async |tx| {
            inspection::scopes(tx, only)
                .await
                .map_err(Error::of_the_first)
        },
        async |tx| {
            let recorded = inspection::record(tx, &new).await?;
            let inspection = &recorded.inspection;
            Ok(Answer::created(
                format!("/v1/inspections/{}", inspection.id),
                &recorded,
                inspection.rev,
            ))
        },
    )
    .await
}
