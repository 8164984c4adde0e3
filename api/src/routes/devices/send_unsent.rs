//! POST /v1/devices/unsent

use actix_web::web::Data;
use actix_web::{HttpRequest, post};
use rimeyard_store::device::unsent::{self, Outbox, Received};
use rimeyard_store::door;

use crate::answer::Answer;
use crate::edge::request_id;
use crate::extract::{Json, Proof, proof};
use crate::problem::{Problem, ProblemDetails};
use crate::routes::session::network;
use crate::state::State;

/// Hand in what a phone had not sent when it was shut out, or when its session ended otherwise.
///
/// It is kept as it comes and applied to nothing: a person sees to it (GET /v1/unsent). Sent again it is kept once. A phone
/// that operators share hands in here, while it is welcome, what it has of those who may no longer act on it.
#[utoipa::path(
    tag = "devices",
    params(("DPoP" = String, Header, description = proof::ABOUT)),
    responses(
        (status = 200, description = "It is kept.", body = Received),
        (status = 401, description = "No phone of this key is unwelcome; or the proof proves nothing.",
            content_type = "application/problem+json", body = ProblemDetails),
        (status = 409, description = "Too much of it is here already.",
            content_type = "application/problem+json", body = ProblemDetails),
        (status = 429, description = "Too many attempts from this address; Retry-After says how many seconds to wait.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    security(())
)]
#[post("/v1/devices/unsent")]
pub async fn send_unsent(
    state: Data<State>,
    request: HttpRequest,
    body: Json<Outbox>,
) -> Result<Answer, Problem> {
    let proof = Proof::required(&request)?;
    state.by_network.take(&network(&state, &request))?;
    let refused = || {
        Problem::unauthorized(
            "No phone of this key is unwelcome. One that is welcome writes by the ordinary routes.",
        )
    };
    let phone = door::sender(&state.database, &proof.thumbprint)
        .await?
        .ok_or_else(refused)?;
    let received = unsent::receive(&state.database, phone, &body, request_id(&request)).await?;
    Ok(Answer::value(&received.ok_or_else(refused)?))
}
