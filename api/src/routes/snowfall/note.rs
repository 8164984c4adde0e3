//! POST /v1/depots/{depot_id}/snowfall

use actix_web::post;
use rimeyard_store::snowfall::{self, NewSnowfall, Noted};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::OBSERVERS;
use crate::signed::Signed;

/// Note the snowfall of days.
///
/// Winters with nine tenths of their days noted become the depot's possible winters; five of them tell its season. A day
/// noted again counts as noted last.
#[utoipa::path(
    tag = "snowfall",
    responses((status = 200, description = "How many days were noted.", body = Noted)),
    extensions(("x-roles" = json!(OBSERVERS)))
)]
#[post("/v1/depots/{depot_id}/snowfall")]
pub async fn note(
    who: Signed,
    depot_id: Path<Uuid>,
    body: Json<NewSnowfall>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write(once, &[*depot_id], async |tx| {
        Ok(Answer::value(&snowfall::note(tx, *depot_id, &new).await?))
    })
    .await
}
