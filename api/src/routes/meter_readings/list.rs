//! GET /v1/meter-readings

use actix_web::get;
use rimeyard_store::meter_reading::{self, MeterReading};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Instant, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which meter readings.
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
    /// Received while the unit stood at this depot.
    depot_id: Option<Uuid>,
    /// Read at this instant or later.
    #[param(inline)]
    read_from: Option<Instant>,
    /// Read before this instant.
    #[param(inline)]
    read_to: Option<Instant>,
}

/// List the meter readings you may see, by id.
#[utoipa::path(
    tag = "meter readings",
    params(Filter),
    responses((status = 200, description = "One page of meter readings.", body = Page<MeterReading>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/meter-readings")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = meter_reading::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        read_from: filter.read_from.map(|at| at.0),
        read_to: filter.read_to.map(|at| at.0),
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| meter_reading::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
