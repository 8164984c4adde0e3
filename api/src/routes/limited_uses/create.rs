//! POST /v1/units/{unit_id}/limited-use

use actix_web::post;
use rimeyard_store::limited_use::{self, LimitedUse, NewLimitedUse};
use rimeyard_store::unit;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Allow a unit's use under stated limits, and stand for it.
///
/// It counts in a storm only once it is admitted for that storm.
#[utoipa::path(
    tag = "limited uses",
    responses((status = 201, description = "The use, as allowed.", body = LimitedUse)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/units/{unit_id}/limited-use")]
pub async fn create(
    who: Signed,
    unit_id: Path<Uuid>,
    body: Json<NewLimitedUse>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![unit::find(tx, *unit_id).await?.depot_id]),
        async |tx| {
            let limited = limited_use::allow(tx, *unit_id, &new).await?;
            Ok(Answer::created(
                format!("/v1/limited-use/{}", limited.id),
                &limited,
                limited.rev,
            ))
        },
    )
    .await
}
