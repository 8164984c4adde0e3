//! POST /v1/units/{unit_id}/deferrals

use actix_web::post;
use rimeyard_store::deferral::{self, Deferral, NewDeferral};
use rimeyard_store::unit;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Put off a task of the unit's sheet until a day, and stand for it.
///
/// A safety task is put off to the end of its window and no further, whatever day is named: past it the unit is unproven.
#[utoipa::path(
    tag = "deferrals",
    responses((status = 201, description = "The deferral.", body = Deferral)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/units/{unit_id}/deferrals")]
pub async fn create(
    who: Signed,
    unit_id: Path<Uuid>,
    body: Json<NewDeferral>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![unit::find(tx, *unit_id).await?.depot_id]),
        async |tx| {
            let deferral = deferral::put_off(tx, *unit_id, &new).await?;
            Ok(Answer::created(
                format!("/v1/deferrals/{}", deferral.id),
                &deferral,
                deferral.rev,
            ))
        },
    )
    .await
}
