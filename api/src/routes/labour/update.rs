//! PATCH /v1/depots/{depot_id}/labour

use actix_web::patch;
use rimeyard_store::labour::{self, Labour, LabourChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Change a depot's labour.
///
/// A field that is absent stays as it is. A person's hours at all depots together have no more than a week has: 168.
#[utoipa::path(
    tag = "labour",
    responses((status = 200, description = "The labour, as changed.", body = Labour)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[patch("/v1/depots/{depot_id}/labour")]
pub async fn update(
    who: Signed,
    depot_id: Path<Uuid>,
    body: Json<LabourChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    // The organisation's scope as well: a person's hours are spread over depots.
    who.write(once, &[who.org_id, *depot_id], async |tx| {
        let labour = labour::update(tx, *depot_id, rev, &change).await?;
        Ok(Answer::object(&labour, labour.rev))
    })
    .await
}
