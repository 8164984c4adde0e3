//! GET /v1/models/{model_id}/learned

use actix_web::get;
use rimeyard_store::learned::{self, LearnedVersion};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// What the fleet has taught of a model: how its parts wear and live, how it starts, how often its shear fasteners break.
///
/// From how many machines, parts and starts each figure is, since when, and where the sheet's own figure stands instead
/// and why.
#[utoipa::path(
    tag = "learned",
    responses((status = 200, description = "The newest version.", body = LearnedVersion)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/models/{model_id}/learned")]
pub async fn find(who: Signed, model_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| learned::find(tx, *model_id).await)
        .await?;
    // Where nothing was learned yet it is made from the present sheet: the version tells nothing of the content.
    Ok(Answer::value(&found))
}
