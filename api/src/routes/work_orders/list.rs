//! GET /v1/work-orders

use actix_web::get;
use rimeyard_rules::order::State;
use rimeyard_store::work_order::{self, OrderShown};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which work orders.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At most so many in a page.
    #[serde(default)]
    #[param(inline)]
    limit: Limit,
    /// The `next_cursor` of the page before.
    #[param(inline)]
    cursor: Option<Cursor>,
    /// Of this unit.
    unit_id: Option<Uuid>,
    /// Of units that stand, or stood, at this depot.
    depot_id: Option<Uuid>,
    /// In this state.
    #[param(inline)]
    state: Option<State>,
    /// Those neither closed nor dropped, or those that are.
    open: Option<bool>,
}

/// List the work orders you may see, by id, with where their parts are.
#[utoipa::path(
    tag = "work orders",
    params(Filter),
    responses((status = 200, description = "One page of work orders.", body = Page<OrderShown>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/work-orders")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = work_order::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        state: filter.state,
        open: filter.open,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| {
            let orders = work_order::list(tx, wanted, after, filter.limit.and_one()).await?;
            work_order::shown(tx, orders).await
        })
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.order.id
    })))
}
