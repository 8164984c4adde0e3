//! GET /v1/deferrals/{deferral_id}

use actix_web::get;
use rimeyard_store::deferral::{self, Deferral};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one deferral.
#[utoipa::path(
    tag = "deferrals",
    responses((status = 200, description = "The deferral.", body = Deferral)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/deferrals/{deferral_id}")]
pub async fn find(who: Signed, deferral_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| deferral::find(tx, *deferral_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
