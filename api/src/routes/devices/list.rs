//! GET /v1/devices

use actix_web::get;
use rimeyard_store::device::{self, Device};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Which phones.
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
    /// Of this person.
    person_id: Option<Uuid>,
    /// Shared at this depot.
    depot_id: Option<Uuid>,
    /// Welcome, or shut out.
    welcome: Option<bool>,
}

/// List the phones you may see, by id: your own, those shared at your depots, and those of people who work nowhere else.
#[utoipa::path(
    tag = "devices",
    params(Filter),
    responses((status = 200, description = "One page of phones.", body = Page<Device>)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/devices")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = device::Filter {
        person_id: filter.person_id,
        depot_id: filter.depot_id,
        welcome: filter.welcome,
    };
    let after = filter.cursor.map(Cursor::id);
    let limit = filter.limit;
    let items = who
        .read(async |tx| device::list(tx, wanted, after, limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, limit, |item| item.id)))
}
