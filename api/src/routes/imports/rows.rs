//! GET /v1/imports/{import_id}/rows

use actix_web::get;
use rimeyard_store::import::{self, RowReport};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Limit, Path, Query};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Which rows.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At most so many in a page.
    #[serde(default)]
    #[param(inline)]
    limit: Limit,
    /// Those after this row: the last of the page before.
    after: Option<u32>,
    /// Only rows with faults.
    #[serde(default)]
    faults: bool,
}

/// One page of rows.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ImportRows)]
pub struct Rows {
    /// The rows, as they were sent and with what is wrong with each.
    items: Vec<RowReport>,
    /// Give it as `after` to get the next page; null on the last one.
    next_after: Option<i32>,
}

/// See an import row by row, with what is wrong with each and what to do.
#[utoipa::path(
    tag = "imports",
    params(Filter),
    responses((status = 200, description = "One page of rows.", body = Rows)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/imports/{import_id}/rows")]
pub async fn rows(
    who: Signed,
    import_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let after = i32::try_from(filter.after.unwrap_or(0)).unwrap_or(i32::MAX);
    let limit = filter.limit;
    let mut items = who
        .read(async |tx| import::rows(tx, *import_id, filter.faults, after, limit.and_one()).await)
        .await?;
    let more = items.len() as i64 > limit.get();
    items.truncate(limit.get() as usize);
    let next_after = items.last().filter(|_| more).map(|row| row.row);
    Ok(Answer::content(&Rows { items, next_after }))
}
