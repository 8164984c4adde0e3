//! GET /v1/depots/{depot_id}

use actix_web::get;
use rimeyard_store::depot::{self, Depot};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one depot.
#[utoipa::path(
    tag = "depots",
    responses((status = 200, description = "The depot.", body = Depot)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}")]
pub async fn find(who: Signed, depot_id: Path<Uuid>) -> Result<Answer, Problem> {
    let depot = who
        .read(async |tx| depot::find(tx, *depot_id).await)
        .await?;
    Ok(Answer::object(&depot, depot.rev))
}
