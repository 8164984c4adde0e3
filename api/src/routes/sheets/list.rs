//! GET /v1/models/{model_id}/sheets

use actix_web::get;
use rimeyard_store::sheet::{self, SheetVersion};
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

/// List the versions of a model's sheet, oldest first.
#[utoipa::path(
    tag = "sheets",
    params(Filter),
    responses((status = 200, description = "One page of versions.", body = Page<SheetVersion>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/models/{model_id}/sheets")]
pub async fn list(
    who: Signed,
    model_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::version);
    let items = who
        .read(async |tx| sheet::list(tx, *model_id, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |sheet| {
        Cursor::key_of(sheet.version)
    })))
}
