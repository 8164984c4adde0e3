//! POST /v1/devices

use actix_web::web::Data;
use actix_web::{HttpRequest, post};
use rimeyard_store::device::{self, Device, NewDevice};
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::Answer;
use crate::edge::request_id;
use crate::extract::{Json, Proof, proof};
use crate::problem::{Problem, ProblemDetails};
use crate::routes::session::{Tokens, network, tokens_of};
use crate::state::State;

/// A phone, as enrolled.
#[derive(Serialize, ToSchema)]
pub struct EnrolledDevice {
    /// It.
    device: Device,
    /// What its session is used with.
    tokens: Tokens,
}

/// Enrol a phone with a code and the proof of a key that it made for itself.
///
/// From then on its session goes on only with proofs of that key: keep the key where nothing takes it from the phone. The
/// same phone may ask again with the same code while that lives: an answer may get lost.
#[utoipa::path(
    tag = "devices",
    params(("DPoP" = String, Header, description = proof::ABOUT)),
    responses(
        (status = 201, description = "The phone and its session.", body = EnrolledDevice),
        (status = 401, description = "The code is unknown, over or another phone's; or the proof proves nothing.",
            content_type = "application/problem+json", body = ProblemDetails),
        (status = 409, description = "The key pair was enrolled before, or the person has too many phones.",
            content_type = "application/problem+json", body = ProblemDetails),
        (status = 429, description = "Too many attempts from this address; Retry-After says how many seconds to wait.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    security(())
)]
#[post("/v1/devices")]
pub async fn enrol(
    state: Data<State>,
    request: HttpRequest,
    body: Json<NewDevice>,
) -> Result<Answer, Problem> {
    let proof = Proof::required(&request)?;
    state.by_network.take(&network(&state, &request))?;
    let refused = || {
        Problem::unauthorized("The code is unknown, over, or another phone's. Have a new one made.")
    };
    let enrolled = device::enrol(
        &state.database,
        &body,
        &proof.thumbprint,
        request_id(&request),
    )
    .await?
    .ok_or_else(refused)?;
    let answer = EnrolledDevice {
        tokens: tokens_of(&state, enrolled.session).await?,
        device: enrolled.device,
    };
    Ok(Answer::value(&answer).made().secret())
}
