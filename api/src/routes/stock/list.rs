//! GET /v1/depots/{depot_id}/stock

use actix_web::get;
use rimeyard_store::stock::{self, ShelfPart};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which parts.
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
    /// This part alone.
    part_id: Option<Uuid>,
}

/// List what is on a depot's shelf, by the part's id, of each part the oldest lot first.
#[utoipa::path(
    tag = "stock",
    params(Filter),
    responses((status = 200, description = "One page of parts.", body = Page<ShelfPart>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/stock")]
pub async fn list(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let (part_id, limit) = (filter.part_id, filter.limit);
    let items = who
        .read(async |tx| stock::shelf(tx, *depot_id, part_id, after, limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, limit, |part| {
        part.part_id
    })))
}
