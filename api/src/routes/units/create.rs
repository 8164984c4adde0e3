//! POST /v1/units

use actix_web::post;
use rimeyard_store::unit::{self, NewUnit, Unit};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Create a unit, with the parts of its model's sheet as delivered.
#[utoipa::path(
    tag = "units",
    responses((status = 201, description = "The unit, as created.", body = Unit)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/units")]
pub async fn create(who: Signed, body: Json<NewUnit>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| unit::scopes_of_new(tx, std::slice::from_ref(&new)).await,
        async |tx| {
            let unit = unit::create(tx, &new).await?;
            Ok(Answer::created(
                format!("/v1/units/{}", unit.id),
                &unit,
                unit.rev,
            ))
        },
    )
    .await
}
