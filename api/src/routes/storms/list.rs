//! GET /v1/storms

use actix_web::get;
use rimeyard_store::storm::{self, Storm};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Instant, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which storms.
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
    /// Those that touch this depot.
    depot_id: Option<Uuid>,
    /// Those not over at this instant.
    #[param(inline)]
    from: Option<Instant>,
    /// Those begun before this instant.
    #[param(inline)]
    to: Option<Instant>,
}

/// List the storms that touch a depot you may see, by id.
#[utoipa::path(
    tag = "storms",
    params(Filter),
    responses((status = 200, description = "One page of storms, each with those of its depots that you may see.", body = Page<Storm>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/storms")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = storm::Filter {
        depot_id: filter.depot_id,
        from: filter.from.map(|at| at.0),
        to: filter.to.map(|at| at.0),
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| storm::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
