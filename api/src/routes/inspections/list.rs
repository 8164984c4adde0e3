//! GET /v1/inspections

use actix_web::get;
use rimeyard_rules::facts::InspectionKind;
use rimeyard_store::inspection::{self, Inspection, Reading};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Instant, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which inspections.
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
    /// Made for this reason.
    kind: Option<InspectionKind>,
    /// Performed at this instant or later.
    #[param(inline)]
    performed_from: Option<Instant>,
    /// Performed before this instant.
    #[param(inline)]
    performed_to: Option<Instant>,
}

/// List the inspections you may see, by id.
#[utoipa::path(
    tag = "inspections",
    params(Filter),
    responses((status = 200, description = "One page of inspections.", body = Page<Inspection<Reading>>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/inspections")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = inspection::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        kind: filter.kind,
        performed_from: filter.performed_from.map(|at| at.0),
        performed_to: filter.performed_to.map(|at| at.0),
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| inspection::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
