//! POST /v1/limited-use/{limited_use_id}/admit

use actix_web::post;
use rimeyard_store::limited_use::{self, Admission, LimitedUse};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Admit a use under stated limits for one storm, in place of the one before.
#[utoipa::path(
    tag = "limited uses",
    responses((status = 200, description = "The use, as admitted.", body = LimitedUse)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/limited-use/{limited_use_id}/admit")]
pub async fn admit(
    who: Signed,
    limited_use_id: Path<Uuid>,
    body: Json<Admission>,
) -> Result<Answer, Problem> {
    let (admission, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![limited_use::find(tx, *limited_use_id).await?.depot_id]),
        async |tx| {
            let limited = limited_use::admit(tx, *limited_use_id, admission).await?;
            Ok(Answer::object(&limited, limited.rev))
        },
    )
    .await
}
