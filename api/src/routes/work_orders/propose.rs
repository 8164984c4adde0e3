//! GET /v1/units/{unit_id}/proposed-work

use actix_web::get;
use rimeyard_store::work_order::{self, Proposal};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Propose an order for what a unit's open findings, due tasks and worn parts ask for.
///
/// What its open orders have already is left out. Nothing is opened: POST /v1/work-orders takes `order` as it is, or with
/// less in it.
#[utoipa::path(
    tag = "work orders",
    responses((status = 200, description = "The order that could be opened, and why.", body = Proposal)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/proposed-work")]
pub async fn propose(who: Signed, unit_id: Path<Uuid>) -> Result<Answer, Problem> {
    let proposal = who
        .read(async |tx| work_order::propose(tx, *unit_id).await)
        .await?;
    Ok(Answer::content(&proposal))
}
