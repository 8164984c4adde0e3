//! POST /v1/units/{unit_id}/holds

use actix_web::post;
use rimeyard_store::hold::{self, Hold, NewHold};
use rimeyard_store::unit;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::PEOPLE;
use crate::signed::Signed;

/// Hang a hold tag on a unit: do not operate.
#[utoipa::path(
    tag = "holds",
    responses((status = 201, description = "The hold tag, as hung.", body = Hold)),
    extensions(("x-roles" = json!(PEOPLE)))
)]
#[post("/v1/units/{unit_id}/holds")]
pub async fn create(
    who: Signed,
    unit_id: Path<Uuid>,
    body: Json<NewHold>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![unit::find(tx, *unit_id).await?.depot_id]),
        async |tx| {
            let hold = hold::place(tx, *unit_id, &new).await?;
            Ok(Answer::created(
                format!("/v1/holds/{}", hold.id),
                &hold,
                hold.rev,
            ))
        },
    )
    .await
}
