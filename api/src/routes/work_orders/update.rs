//! PATCH /v1/work-orders/{work_order_id}

use actix_web::patch;
use rimeyard_store::work_order::{self, OrderShown, WorkOrderChange};
use uuid::Uuid;

use super::shown;
use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Change a work order: its state, its lines, what it needs, and what was used for it.
///
/// A field that is absent stays as it is. What is used is booked in the depot's ledger in the same commit. An order
/// closes once every line is done, or taken off with words, and an inspection made after the work proves each finding on
/// it right; that lifts no hold tag: the tag is lifted by itself, with that inspection.
#[utoipa::path(
    tag = "work orders",
    responses((status = 200, description = "The order, as changed.", body = OrderShown)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[patch("/v1/work-orders/{work_order_id}")]
pub async fn update(
    who: Signed,
    work_order_id: Path<Uuid>,
    body: Json<WorkOrderChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![work_order::find(tx, *work_order_id).await?.depot_id]),
        async |tx| {
            let order = work_order::update(tx, *work_order_id, rev, &change).await?;
            let order = shown(tx, order).await?;
            Ok(Answer::object(&order, order.order.rev).of_reader())
        },
    )
    .await
}
