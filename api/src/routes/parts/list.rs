//! GET /v1/units/{unit_id}/parts

use actix_web::get;
use rimeyard_store::fitted_part::{self, FittedPart};
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
    /// This part of the model's sheet.
    part: Option<String>,
    /// Those fitted now, or those no longer.
    fitted: Option<bool>,
}

/// List the parts that are, or were, fitted to a unit, by id.
#[utoipa::path(
    tag = "parts",
    params(Filter),
    responses((status = 200, description = "One page of parts.", body = Page<FittedPart>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/parts")]
pub async fn list(
    who: Signed,
    unit_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let wanted = fitted_part::Filter {
        part: filter.part.clone(),
        fitted: filter.fitted,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| {
            fitted_part::list(tx, *unit_id, &wanted, after, filter.limit.and_one()).await
        })
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |part| {
        part.id
    })))
}
