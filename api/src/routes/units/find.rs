//! GET /v1/units/{unit_id}

use actix_web::get;
use rimeyard_store::unit::{self, Unit};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one unit.
#[utoipa::path(
    tag = "units",
    responses((status = 200, description = "The unit.", body = Unit)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}")]
pub async fn find(who: Signed, unit_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who.read(async |tx| unit::find(tx, *unit_id).await).await?;
    Ok(Answer::object(&found, found.rev))
}
