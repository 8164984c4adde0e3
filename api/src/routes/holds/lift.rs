//! POST /v1/holds/{hold_id}/lift

use actix_web::post;
use rimeyard_store::hold::{self, Hold, Proof};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Lift a hold tag, with the inspection that proves the repair.
#[utoipa::path(
    tag = "holds",
    responses((status = 200, description = "The hold tag, as lifted.", body = Hold)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[post("/v1/holds/{hold_id}/lift")]
pub async fn lift(who: Signed, hold_id: Path<Uuid>, body: Json<Proof>) -> Result<Answer, Problem> {
    let (proof, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![hold::find(tx, *hold_id).await?.depot_id]),
        async |tx| {
            let hold = hold::lift(tx, *hold_id, proof).await?;
            Ok(Answer::object(&hold, hold.rev))
        },
    )
    .await
}
