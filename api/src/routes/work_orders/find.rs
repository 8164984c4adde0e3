//! GET /v1/work-orders/{work_order_id}

use actix_web::get;
use rimeyard_store::work_order::{self, OrderShown};
use uuid::Uuid;

use super::shown;
use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one work order, with where its parts are.
#[utoipa::path(
    tag = "work orders",
    responses((status = 200, description = "The order.", body = OrderShown)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/work-orders/{work_order_id}")]
pub async fn find(who: Signed, work_order_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| shown(tx, work_order::find(tx, *work_order_id).await?).await)
        .await?;
    Ok(Answer::object(&found, found.order.rev).of_reader())
}
