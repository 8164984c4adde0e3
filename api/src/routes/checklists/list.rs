//! GET /v1/checklists

use actix_web::get;
use rimeyard_store::checklist::{self, ChecklistHead};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which checklists.
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
    /// For this kind of machine.
    kind: Option<String>,
}

/// List the checklists, by id, without their steps.
#[utoipa::path(
    tag = "checklists",
    params(Filter),
    responses((status = 200, description = "One page of checklists.", body = Page<ChecklistHead>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/checklists")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| {
            checklist::list(
                tx,
                filter.name.as_deref(),
                filter.kind.as_deref(),
                after,
                filter.limit.and_one(),
            )
            .await
        })
        .await?;
    Ok(Answer::content(&Page::new(
        items,
        filter.limit,
        |checklist| checklist.id,
    )))
}
