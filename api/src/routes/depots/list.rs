//! GET /v1/depots

use actix_web::get;
use rimeyard_store::depot::{self, Depot};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which depots.
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
    /// Exactly so named.
    name: Option<String>,
}

/// List the depots you may see, by id.
#[utoipa::path(
    tag = "depots",
    params(Filter),
    responses((status = 200, description = "One page of depots.", body = Page<Depot>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let depots = who
        .read(async |tx| {
            depot::list(tx, filter.name.as_deref(), after, filter.limit.and_one()).await
        })
        .await?;
    Ok(Answer::content(&Page::new(depots, filter.limit, |depot| {
        depot.id
    })))
}
