//! POST /v1/work-orders

use actix_web::post;
use rimeyard_store::work_order::{self, NewWorkOrder, OrderShown};

use super::shown;
use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::PEOPLE;
use crate::signed::Signed;

/// Open a work order by hand, or report a fault.
///
/// A fault is reported in a minute: the unit, the symptom and when it was noticed, which is all an operator may say.
/// Lines for findings, tasks and renewals take title, minutes and parts from the machine's sheet where they are absent.
#[utoipa::path(
    tag = "work orders",
    responses((status = 201, description = "The order, as opened.", body = OrderShown)),
    extensions(("x-roles" = json!(PEOPLE)))
)]
#[post("/v1/work-orders")]
pub async fn create(who: Signed, body: Json<NewWorkOrder>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| work_order::scopes_of_new(tx, &new).await,
        async |tx| {
            let order = work_order::create(tx, &new).await?;
            let order = shown(tx, order).await?;
            let location = format!("/v1/work-orders/{}", order.order.id);
            Ok(Answer::created(location, &order, order.order.rev).of_reader())
        },
    )
    .await
}
