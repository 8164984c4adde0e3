//! GET /v1/depots/{depot_id}/snowfall

use actix_web::get;
use jiff::civil::Date;
use rimeyard_store::snowfall::{self, SnowDay};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Day, Limit, Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which days.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At most so many in a page.
    #[serde(default)]
    #[param(inline)]
    limit: Limit,
    /// Those after this day: the last of the page before.
    #[param(inline)]
    after: Option<Day>,
}

/// One page of days.
#[derive(Debug, Serialize, ToSchema)]
pub struct Days {
    /// The days noted, in their order.
    items: Vec<SnowDay>,
    /// Give it as `after` to get the next page; null on the last one.
    #[schema(value_type = Option<String>, format = Date)]
    next_after: Option<Date>,
}

/// List a depot's snowfall, day by day.
#[utoipa::path(
    tag = "snowfall",
    params(Filter),
    responses((status = 200, description = "One page of days.", body = Days)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/snowfall")]
pub async fn list(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let limit = filter.limit;
    let mut items = who
        .read(async |tx| {
            snowfall::list(
                tx,
                *depot_id,
                filter.after.map(|day| day.0),
                limit.and_one(),
            )
            .await
        })
        .await?;
    let more = items.len() as i64 > limit.get();
    items.truncate(limit.get() as usize);
    let next_after = items.last().filter(|_| more).map(|day| day.on);
    Ok(Answer::content(&Days { items, next_after }))
}
