//! PATCH /v1/units/{unit_id}

use actix_web::patch;
use rimeyard_store::unit::{self, Unit, UnitChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Change a unit, or move it to another depot.
///
/// A field that is absent stays as it is. A unit that moves takes along what is true of it now: its parts, open
/// findings, hold tags, limited uses and open work orders. Its history stays where it was made. One that is retired has
/// no work left to be done: its work orders are closed or dropped before.
#[utoipa::path(
    tag = "units",
    responses((status = 200, description = "The unit, as changed.", body = Unit)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[patch("/v1/units/{unit_id}")]
pub async fn update(
    who: Signed,
    unit_id: Path<Uuid>,
    body: Json<UnitChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| unit::scopes_of_change(tx, *unit_id, &change).await,
        async |tx| {
            let unit = unit::update(tx, *unit_id, rev, &change).await?;
            Ok(Answer::object(&unit, unit.rev))
        },
    )
    .await
}
