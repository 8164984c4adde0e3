//! POST /v1/meter-readings

use actix_web::post;
use rimeyard_store::Error;
use rimeyard_store::meter_reading::{self, MeterReading, NewMeterReading};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::METER_READERS;
use crate::signed::Signed;

/// Record what the hour meter shows, or whether a machine started.
///
/// It is never changed: a correction is a new reading that names the one it corrects. What contradicts other facts
/// (hours that run backwards or faster than time, a time in the future) is kept and flagged `suspect`.
#[utoipa::path(
    tag = "meter readings",
    responses((status = 201, description = "The meter reading, as recorded.", body = MeterReading)),
    extensions(("x-roles" = json!(METER_READERS)))
)]
#[post("/v1/meter-readings")]
pub async fn create(who: Signed, body: Json<NewMeterReading>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let only = std::slice::from_ref(&new);
    who.write_where(
        once,
        async |tx| {
            meter_reading::scopes(tx, only)
                .await
                .map_err(Error::of_the_first)
        },
        async |tx| {
            let reading = meter_reading::record(tx, &new).await?;
            Ok(Answer::created(
                format!("/v1/meter-readings/{}", reading.id),
                &reading,
                reading.rev,
            ))
        },
    )
    .await
}
