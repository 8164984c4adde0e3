//! PATCH /v1/depots/{depot_id}

use actix_web::patch;
use rimeyard_store::depot::{self, Depot, DepotChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::DISTRICT;
use crate::signed::Signed;

/// Change a depot.
///
/// A field that is absent stays as it is; a list that is given replaces the whole list.
#[utoipa::path(
    tag = "depots",
    responses((status = 200, description = "The depot, as changed.", body = Depot)),
    extensions(("x-roles" = json!(DISTRICT)))
)]
#[patch("/v1/depots/{depot_id}")]
pub async fn update(
    who: Signed,
    depot_id: Path<Uuid>,
    body: Json<DepotChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write(once, &[*depot_id], async |tx| {
        let depot = depot::update(tx, *depot_id, rev, &change).await?;
        Ok(Answer::object(&depot, depot.rev))
    })
    .await
}
