//! PATCH /v1/parts/{listed_part_id}

use actix_web::patch;
use rimeyard_store::part::{self, Part, PartChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Change a part of the list.
///
/// A field that is absent stays as it is. What was booked of a kit before stays as it was booked.
#[utoipa::path(
    tag = "parts list",
    responses((status = 200, description = "The part, as changed.", body = Part)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[patch("/v1/parts/{listed_part_id}")]
pub async fn update(
    who: Signed,
    listed_part_id: Path<Uuid>,
    body: Json<PartChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let part = part::update(tx, *listed_part_id, rev, &change).await?;
        Ok(Answer::object(&part, part.rev))
    })
    .await
}
