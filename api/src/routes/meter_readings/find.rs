//! GET /v1/meter-readings/{meter_reading_id}

use actix_web::get;
use rimeyard_store::meter_reading::{self, MeterReading};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one meter reading.
#[utoipa::path(
    tag = "meter readings",
    responses((status = 200, description = "The meter reading.", body = MeterReading)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/meter-readings/{meter_reading_id}")]
pub async fn find(who: Signed, meter_reading_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| meter_reading::find(tx, *meter_reading_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
