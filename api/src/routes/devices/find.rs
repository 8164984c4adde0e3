//! GET /v1/devices/{device_id}

use actix_web::get;
use rimeyard_store::device::{self, Device};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Show a phone.
#[utoipa::path(
    tag = "devices",
    responses((status = 200, description = "The phone.", body = Device)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/devices/{device_id}")]
pub async fn find(who: Signed, device_id: Path<Uuid>) -> Result<Answer, Problem> {
    let device = who
        .read(async |tx| device::find(tx, *device_id).await)
        .await?;
    Ok(Answer::object(&device, device.rev))
}
