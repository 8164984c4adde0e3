//! POST /v1/sign-in

use std::net::{IpAddr, Ipv6Addr};

use actix_web::http::StatusCode;
use actix_web::web::Data;
use actix_web::{HttpRequest, ResponseError, post};
use rimeyard_store::door::{self, Session};
use rimeyard_store::{password, person};
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
    tokens(&state, session).await
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
    let begun = known(state, request, email, password).await;
    if let Err(problem) = &begun {
        match problem.status_code() {
            StatusCode::UNAUTHORIZED => state.metrics.sign_in_refused(false),
            StatusCode::TOO_MANY_REQUESTS => state.metrics.sign_in_refused(true),
            // It was not refused, it failed.
            _ => {}
        }
    }
    begun
}

async fn known(
    state: &State,
    request: &HttpRequest,
    email: &str,
    password: &str,
) -> Result<Session, Problem> {
    let refused = || Problem::unauthorized("The address or the password is wrong.");
    let network = network(state, request);
    state.by_network.take(&network)?;
    // What can be nobody's address is not counted by it: it could be a mebibyte long.
    let email = password::address(email).map_err(|_| refused())?;
    let here = format!("{network} {email}");
    state.by_email_and_network.take(&here)?;
    state.by_email.take(&email)?;
    let signed_in = door::sign_in(&state.database, &email, password)
        .await?
        .ok_or_else(refused)?;
    let known = signed_in.known;
    // Nothing is stored of who is refused.
    if !person::is_active(&state.database, known.org_id, known.person_id).await? {
        return Err(refused());
    }
    let session = door::begin_signed_in(&state.database, signed_in)
        .await?
        .ok_or_else(refused)?;
    // They may have been sent away meanwhile.
    let standing =
        person::standing(&state.database, known.org_id, known.person_id, session.id).await?;
    standing.ok_or_else(refused)?;
    state.by_email_and_network.give_back(&here);
    state.by_email.give_back(&email);
    Ok(session)
}

/// Where a request comes from: an IPv4 address, or the 64 bits of an IPv6 address that one subscriber has. Behind a
/// proxy it is what the proxy itself has seen and added to X-Forwarded-For, the last; what stands before it, anyone
/// can have sent.
pub fn network(state: &State, request: &HttpRequest) -> String {
    let seen_by_proxy = || {
        let last = request.headers().get_all("x-forwarded-for").last()?;
        last.to_str().ok()?.rsplit(',').next()?.trim().parse().ok()
    };
    let forwarded = state.behind_proxy.then(seen_by_proxy).flatten();
    match forwarded.or_else(|| Some(request.peer_addr()?.ip())) {
        Some(IpAddr::V6(address)) => match address.to_ipv4_mapped() {
            Some(address) => address.to_string(),
            None => Ipv6Addr::from_bits(address.to_bits() & (u128::MAX << 64)).to_string(),
        },
        Some(address) => address.to_string(),
        None => String::new(),
    }
}
