//! GET /v1/depots/{depot_id}/labour

use actix_web::get;
use rimeyard_store::labour::{self, Labour};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find a depot's labour: its technicians' weekly hours and the minutes of travel to it.
#[utoipa::path(
    tag = "labour",
    responses((status = 200, description = "The labour.", body = Labour)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/labour")]
pub async fn find(who: Signed, depot_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| labour::find(tx, *depot_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
