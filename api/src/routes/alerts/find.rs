//! GET /v1/alerts/{alert_id}

use actix_web::get;
use rimeyard_store::alert::{self, Alert};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one alert.
#[utoipa::path(
    tag = "alerts",
    responses((status = 200, description = "The alert.", body = Alert)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/alerts/{alert_id}")]
pub async fn find(who: Signed, alert_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| alert::find(tx, *alert_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
