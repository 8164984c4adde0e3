//! POST /v1/devices/{device_id}/revoke

use actix_web::post;
use rimeyard_store::device::{self, Device, Revocation};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Shut a phone out, because it is lost or leaves: within seconds what it holds opens nothing.
///
/// What it has not sent yet is not lost: it may hand that in under POST /v1/devices/unsent, for a person to see to.
#[utoipa::path(
    tag = "devices",
    responses((status = 200, description = "The phone, as shut out.", body = Device)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/devices/{device_id}/revoke")]
pub async fn revoke(
    who: Signed,
    device_id: Path<Uuid>,
    body: Json<Revocation>,
) -> Result<Answer, Problem> {
    let (why, once) = body.into_parts();
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let device = device::revoke(tx, *device_id, &why).await?;
            Ok(Answer::object(&device, device.rev))
        })
        .await?;
    who.state.people.forget_all();
    Ok(answer)
}
