//! GET /v1/parts

use actix_web::get;
use rimeyard_store::part::{self, Part};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
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
    /// Exactly so numbered.
    number: Option<String>,
    /// So named, in whatever letters.
    name: Option<String>,
}

/// List the parts that can be on a shelf, by id.
#[utoipa::path(
    tag = "parts list",
    params(Filter),
    responses((status = 200, description = "One page of parts.", body = Page<Part>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/parts")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| {
            part::list(
                tx,
                filter.number.as_deref(),
                filter.name.as_deref(),
                after,
                filter.limit.and_one(),
            )
            .await
        })
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |part| {
        part.id
    })))
}
