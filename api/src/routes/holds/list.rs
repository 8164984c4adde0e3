//! GET /v1/holds

use actix_web::get;
use rimeyard_store::hold::{self, Hold};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which holds.
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
    /// On this unit.
    unit_id: Option<Uuid>,
    /// On units that stood at this depot.
    depot_id: Option<Uuid>,
    /// Those that hang, or those that were lifted.
    open: Option<bool>,
}

/// List the hold tags you may see, by id.
#[utoipa::path(
    tag = "holds",
    params(Filter),
    responses((status = 200, description = "One page of hold tags.", body = Page<Hold>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/holds")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = hold::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        open: filter.open,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| hold::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
