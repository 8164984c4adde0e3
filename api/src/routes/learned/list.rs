//! GET /v1/learned

use actix_web::get;
use rimeyard_store::learned::{self, LearnedVersion};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which page.
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
}

/// List what the fleet has taught of each model, by model.
#[utoipa::path(
    tag = "learned",
    params(Filter),
    responses((status = 200, description = "One page.", body = Page<LearnedVersion>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/learned")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| learned::list(tx, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.model_id
    })))
}
