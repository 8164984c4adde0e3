//! POST /v1/alerts/{alert_id}/acknowledge

use actix_web::post;
use rimeyard_store::alert::{self, Acknowledgement, Alert};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Take up an alert, with a word on what is done about it: then it is not told to the district.
///
/// It stays open until the facts clear it. Should it get worse it must be taken up again.
#[utoipa::path(
    tag = "alerts",
    responses((status = 200, description = "The alert, as taken up.", body = Alert)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[post("/v1/alerts/{alert_id}/acknowledge")]
pub async fn acknowledge(
    who: Signed,
    alert_id: Path<Uuid>,
    body: Json<Acknowledgement>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| Ok(vec![alert::find(tx, *alert_id).await?.depot_id]),
        async |tx| {
            let alert = alert::acknowledge(tx, *alert_id, &new).await?;
            Ok(Answer::object(&alert, alert.rev))
        },
    )
    .await
}
