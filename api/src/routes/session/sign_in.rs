//! POST /v1/sign-in

use actix_web::web::Data;
use actix_web::{HttpRequest, post};
use rimeyard_store::door::{self, Session};
use rimeyard_store::person;
use serde::Deserialize;
use utoipa::ToSchema;

use super::{Tokens, tokens};
use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::{Problem, ProblemDetails};
use crate::state::State;

/// Who signs in.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Credentials {
    /// The address.
    #[schema(example = "technician@rimeyard.example")]
    email: String,
    /// The password.
    password: String,
}

/// Sign in.
///
/// A wrong password, an address nobody has and a person who is no longer active answer alike.
#[utoipa::path(
    tag = "session",
    responses(
        (status = 200, description = "Signed in.", body = Tokens),
        (status = 401, description = "Wrong address or password.", content_type = "application/problem+json", body = ProblemDetails),
        (status = 429, description = "Too many attempts from this address or with this email; Retry-After says how many seconds to wait.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    security(())
)]
#[post("/v1/sign-in")]
pub async fn sign_in(
    state: Data<State>,
    request: HttpRequest,
    body: Json<Credentials>,
) -> Result<Answer, Problem> {
    let session = begin(&state, &request, &body.email, &body.password).await?;
    tokens(&state, session)
}

/// Begins a session for whoever knows the password, if they have not tried too often.
///
/// # Errors
/// 401 for a wrong address or password and for a person no longer active, alike; 429.
pub async fn begin(
    state: &State,
    request: &HttpRequest,
    email: &str,
    password: &str,
) -> Result<Session, Problem> {
    let address = address(state, request);
    let email = email.trim().to_lowercase();
    state.by_address.check(&address)?;
    state.by_email.check(&email)?;
    state.by_address.count(&address);
    let refused = || {
        state.by_email.count(&email);
        Problem::unauthorized("The address or the password is wrong.")
    };
    // A form can send what JSON is refused for; Postgres knows no NUL in a text.
    if email.contains('\0') {
        return Err(refused());
    }
    let known = door::sign_in(&state.database, &email, password)
        .await?
        .ok_or_else(refused)?;
    let session = door::begin_session(&state.database, known).await?;
    let standing =
        person::standing(&state.database, known.org_id, known.person_id, session.id).await?;
    standing.ok_or_else(refused)?;
    Ok(session)
}

fn address(state: &State, request: &HttpRequest) -> String {
    let info = request.connection_info();
    let address = if state.behind_proxy {
        info.realip_remote_addr()
    } else {
        info.peer_addr()
    };
    address.unwrap_or_default().to_owned()
}
