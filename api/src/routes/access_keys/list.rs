//! GET /v1/keys

use actix_web::get;
use rimeyard_store::access_key::{self, AccessKey};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Which keys.
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
    /// Of this depot system.
    person_id: Option<Uuid>,
}

/// List keys, those that have ended too, by id: what each may write, and when it was last used.
#[utoipa::path(
    tag = "keys",
    params(Filter),
    responses((status = 200, description = "One page of keys.", body = Page<AccessKey>)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[get("/v1/keys")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let limit = filter.limit;
    let items = who
        .read(async |tx| access_key::list(tx, filter.person_id, after, limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, limit, |item| item.id)))
}
