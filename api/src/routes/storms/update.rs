//! PATCH /v1/storms/{storm_id}

use actix_web::patch;
use rimeyard_store::storm::{self, Storm, StormChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Change a storm, or call it off.
///
/// A field that is absent stays as it is; the list of depots, if given, replaces the whole list. A storm that touches
/// depots you may not see is for whoever answers for all of them to change.
#[utoipa::path(
    tag = "storms",
    responses((status = 200, description = "The storm, as changed.", body = Storm)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[patch("/v1/storms/{storm_id}")]
pub async fn update(
    who: Signed,
    storm_id: Path<Uuid>,
    body: Json<StormChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| storm::scopes(tx, *storm_id, &change).await,
        async |tx| {
            let storm = storm::update(tx, *storm_id, rev, &change).await?;
            Ok(Answer::object(&storm, storm.rev).of_reader())
        },
    )
    .await
}
