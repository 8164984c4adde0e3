//! GET /v1/checklists/{checklist_id}/versions

use actix_web::get;
use rimeyard_store::checklist::{self, ChecklistVersion};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which versions.
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

/// List the versions of a checklist, oldest first.
#[utoipa::path(
    tag = "checklist versions",
    params(Filter),
    responses((status = 200, description = "One page of versions.", body = Page<ChecklistVersion>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/checklists/{checklist_id}/versions")]
pub async fn list(
    who: Signed,
    checklist_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::version);
    let items = who
        .read(async |tx| {
            checklist::versions(tx, *checklist_id, after, filter.limit.and_one()).await
        })
        .await?;
    Ok(Answer::content(&Page::new(
        items,
        filter.limit,
        |version| Cursor::key_of(version.version),
    )))
}
