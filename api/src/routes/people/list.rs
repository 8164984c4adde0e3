//! GET /v1/people

use actix_web::get;
use rimeyard_store::person::{self, Person};
use serde::Deserialize;
use utoipa::IntoParams;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Which people.
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
    /// Who signs in with this address.
    email: Option<String>,
}

/// List the people, by id.
#[utoipa::path(
    tag = "people",
    params(Filter),
    responses((status = 200, description = "One page of people.", body = Page<Person>)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[get("/v1/people")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| {
            person::list(tx, filter.email.as_deref(), after, filter.limit.and_one()).await
        })
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |person| {
        person.id
    })))
}
