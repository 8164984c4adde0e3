//! GET /v1/imports

use actix_web::get;
use rimeyard_store::import::{self, Import};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Which imports.
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

/// List your imports by id, and everybody's if you are granted every depot.
///
/// The faults of each are not in the list; GET /v1/imports/{import_id} has the first of them.
#[utoipa::path(
    tag = "imports",
    params(Filter),
    responses((status = 200, description = "One page of imports.", body = Page<Import>)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/imports")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| import::list(tx, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
