//! POST /v1/limited-use/{limited_use_id}/end

use actix_web::post;
use rimeyard_store::limited_use::{self, LimitedUse};
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
#[schema(as = LimitedUseEnding)]
#[serde(deny_unknown_fields)]
pub struct Ending {}

/// End a use under stated limits before its time.
#[utoipa::path(
    tag = "limited uses",
    responses((status = 200, description = "The use, as ended.", body = LimitedUse)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/limited-use/{limited_use_id}/end")]
pub async fn end(
    who: Signed,
    limited_use_id: Path<Uuid>,
    body: Json<Ending>,
) -> Result<Answer, Problem> {
    let (_, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![limited_use::find(tx, *limited_use_id).await?.depot_id]),
        async |tx| {
            let limited = limited_use::end(tx, *limited_use_id).await?;
            Ok(Answer::object(&limited, limited.rev))
        },
    )
    .await
}
