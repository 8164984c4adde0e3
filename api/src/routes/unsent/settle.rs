//! POST /v1/unsent/{unsent_id}/settle

use actix_web::post;
use rimeyard_store::device::unsent::{self, Settlement, Unsent};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Say what you made of it: entered, by the ordinary routes and as your own word, or set aside.
#[utoipa::path(
    tag = "unsent",
    responses((status = 200, description = "It, as settled.", body = Unsent)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/unsent/{unsent_id}/settle")]
pub async fn settle(
    who: Signed,
    unsent_id: Path<Uuid>,
    body: Json<Settlement>,
) -> Result<Answer, Problem> {
    let (how, once) = body.into_parts();
    who.write(once, &[who.org_id], async |tx| {
        let one = unsent::settle(tx, *unsent_id, &how).await?;
        Ok(Answer::object(&one, one.rev))
    })
    .await
}
