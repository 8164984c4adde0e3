//! GET /v1/unsent

use actix_web::get;
use rimeyard_store::device::unsent::{self, Unsent};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Which.
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
    /// Of this phone.
    device_id: Option<Uuid>,
    /// Of this depot.
    depot_id: Option<Uuid>,
    /// Seen to by a person, or not.
    settled: Option<bool>,
}

/// List what phones that were shut out had not sent, by id.
#[utoipa::path(
    tag = "unsent",
    params(Filter),
    responses((status = 200, description = "One page of it.", body = Page<Unsent>)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/unsent")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = unsent::Filter {
        device_id: filter.device_id,
        depot_id: filter.depot_id,
        settled: filter.settled,
    };
    let after = filter.cursor.map(Cursor::id);
    let limit = filter.limit;
    let items = who
        .read(async |tx| unsent::list(tx, wanted, after, limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, limit, |item| item.id)))
}
