//! GET /v1/depots/{depot_id}/stock/moves

use actix_web::get;
use rimeyard_store::stock::{self, StockMove};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which movements.
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
    /// Of this part.
    part_id: Option<Uuid>,
    /// For this work order.
    work_order_id: Option<Uuid>,
}

/// List the movements of a depot's shelf, by id.
#[utoipa::path(
    tag = "stock",
    params(Filter),
    responses((status = 200, description = "One page of movements.", body = Page<StockMove>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/stock/moves")]
pub async fn moves(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let wanted = stock::Filter {
        part_id: filter.part_id,
        work_order_id: filter.work_order_id,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| stock::moves(tx, *depot_id, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
