//! GET /v1/units/{unit_id}/due

use actix_web::{get, web};
use jiff::Timestamp;
use rimeyard_rules::depot::{self, OwedTasks};
use rimeyard_store::{Error, facts, unit};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// What is owed of a unit's tasks, and what that is worked out from.
///
/// A task's `inputs`, with `hours_ahead` put into them, are what POST /v1/calculations/due takes: it answers with the same
/// dates. A retired unit owes nothing and is answered with 404.
#[utoipa::path(
    tag = "due",
    responses((status = 200, description = "Its tasks, as things stand now.", body = OwedTasks)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/due")]
pub async fn of_unit(who: Signed, unit_id: Path<Uuid>) -> Result<Answer, Problem> {
    let (unit_id, as_of) = (*unit_id, Timestamp::now());
    let facts = who
        .read(async |tx| {
            let unit = unit::find(tx, unit_id).await?;
            facts::of_depot(tx, unit.depot_id, as_of).await
        })
        .await?;
    // A depot takes its time; others are answered meanwhile.
    let owed = web::block(move || depot::owed(&facts, unit_id, as_of)).await;
    let owed = owed.map_err(Problem::internal)?;
    Ok(Answer::value(
        &owed.ok_or(Error::NotFound { what: "unit" })?,
    ))
}
