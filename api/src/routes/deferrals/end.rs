//! POST /v1/deferrals/{deferral_id}/end

use actix_web::post;
use rimeyard_store::deferral::{self, Deferral};
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
#[schema(as = DeferralEnding)]
#[serde(deny_unknown_fields)]
pub struct Ending {}

/// End a deferral before its time: the task is owed again.
#[utoipa::path(
    tag = "deferrals",
    responses((status = 200, description = "The deferral, as ended.", body = Deferral)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/deferrals/{deferral_id}/end")]
pub async fn end(
    who: Signed,
    deferral_id: Path<Uuid>,
    body: Json<Ending>,
) -> Result<Answer, Problem> {
    let (_, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![deferral::find(tx, *deferral_id).await?.depot_id]),
        async |tx| {
            let deferral = deferral::end(tx, *deferral_id).await?;
            Ok(Answer::object(&deferral, deferral.rev))
        },
    )
    .await
}
