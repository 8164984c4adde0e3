//! POST /v1/holds/{hold_id}/name

use actix_web::post;
use rimeyard_store::hold::{self, Hold, Named};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Name who alone may lift a hold tag, or leave it to whoever works on machines at its depot.
///
/// For when whoever was named is away, and for tags that inspections hang by themselves.
#[utoipa::path(
    tag = "holds",
    responses((status = 200, description = "The hold tag, as changed.", body = Hold)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/holds/{hold_id}/name")]
pub async fn name(who: Signed, hold_id: Path<Uuid>, body: Json<Named>) -> Result<Answer, Problem> {
    let (named, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![hold::find(tx, *hold_id).await?.depot_id]),
        async |tx| {
            let hold = hold::name(tx, *hold_id, named).await?;
            Ok(Answer::object(&hold, hold.rev))
        },
    )
    .await
}
