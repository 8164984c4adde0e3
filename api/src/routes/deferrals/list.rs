//! GET /v1/deferrals

use actix_web::get;
use rimeyard_store::deferral::{self, Deferral};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which deferrals.
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
    /// Of this unit.
    unit_id: Option<Uuid>,
    /// Of units that stood at this depot.
    depot_id: Option<Uuid>,
    /// Not ended by hand, or those that were.
    open: Option<bool>,
}

/// List the deferrals you may see, by id.
#[utoipa::path(
    tag = "deferrals",
    params(Filter),
    responses((status = 200, description = "One page of deferrals.", body = Page<Deferral>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/deferrals")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = deferral::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        open: filter.open,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| deferral::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
