//! GET /v1/units

use actix_web::get;
use rimeyard_store::unit::{self, Unit};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which units.
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
    /// Of this depot.
    depot_id: Option<Uuid>,
    /// Of this model.
    model_id: Option<Uuid>,
    /// With this number on its tag, in whatever letters.
    tag: Option<String>,
}

/// List the units you may see, retired ones too, by id.
#[utoipa::path(
    tag = "units",
    params(Filter),
    responses((status = 200, description = "One page of units.", body = Page<Unit>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = unit::Filter {
        depot_id: filter.depot_id,
        model_id: filter.model_id,
        tag: filter.tag.clone(),
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| unit::list(tx, &wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |unit| {
        unit.id
    })))
}
