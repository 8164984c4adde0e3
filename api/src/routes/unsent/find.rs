//! GET /v1/unsent/{unsent_id}

use actix_web::get;
use rimeyard_store::device::unsent::{self, Unsent};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Show what a phone had not sent.
#[utoipa::path(
    tag = "unsent",
    responses((status = 200, description = "It, as it came.", body = Unsent)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/unsent/{unsent_id}")]
pub async fn find(who: Signed, unsent_id: Path<Uuid>) -> Result<Answer, Problem> {
    let one = who
        .read(async |tx| unsent::find(tx, *unsent_id).await)
        .await?;
    Ok(Answer::object(&one, one.rev))
}
