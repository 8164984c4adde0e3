//! POST /v1/sign-in/refresh

use actix_web::web::Data;
use actix_web::{HttpRequest, post};
use rimeyard_rules::Invalid;
use rimeyard_store::{door, person};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Tokens, tokens};
use crate::answer::Answer;
use crate::extract::{Json, Proof, proof};
use crate::problem::{Problem, ProblemDetails};
use crate::state::State;

/// A refresh token.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refresh {
    /// The last one received.
    refresh_token: String,
    /// On a phone that the operators of a depot share: the operator who has it in their hands, for whom the access token
    /// is to be. Without, it is the phone's own.
    operator_id: Option<Uuid>,
}

/// Exchange a refresh token for new tokens.
///
/// Until its successor is used, the same token answers again: an answer may get lost. After that it ends the session,
/// since someone else must have it. A phone's session goes on only with the proof of its key. A name that is no operator's
/// costs a shared phone nothing but the try: the same token is good for the next.
#[utoipa::path(
    tag = "session",
    params(("DPoP" = Option<String>, Header, description = proof::ABOUT)),
    responses(
        (status = 200, description = "New tokens.", body = Tokens),
        (status = 401, description = "The token is worth nothing, or no longer: sign in again.",
            content_type = "application/problem+json", body = ProblemDetails),
        (status = 429, description = "Too many names that are no operator's; Retry-After says how many seconds to wait.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    security(())
)]
#[post("/v1/sign-in/refresh")]
pub async fn refresh(
    state: Data<State>,
    request: HttpRequest,
    body: Json<Refresh>,
) -> Result<Answer, Problem> {
    let refused =
        || Problem::unauthorized("The refresh token is not valid, or no longer. Sign in again.");
    let proof = Proof::of(&request)?;
    let thumbprint = proof.as_ref().map(|proof| proof.thumbprint.as_str());
    if let (Some(operator_id), Some(thumbprint)) = (body.operator_id, thumbprint) {
        check_operator(&state, &body.refresh_token, thumbprint, operator_id).await?;
    }
    let mut session = door::refresh(&state.database, &body.refresh_token, thumbprint)
        .await?
        .ok_or_else(refused)?;
    if let Some(operator_id) = body.operator_id {
        session.known.person_id = operator_id;
    }
    let known = session.known;
    let standing =
        person::standing(&state.database, known.org_id, known.person_id, session.id).await?;
    match standing {
        Some(_) => tokens(&state, session).await,
        // They were one a moment ago. The successor was not told, so the same token comes again with another name.
        None if body.operator_id.is_some() => Err(no_operator()),
        None => Err(refused()),
    }
}

/// Sees that a phone may be in the hands of this operator before its token is used, of which there are only so many
/// successors. Where it is no phone, or not a good token, that is told by using it.
async fn check_operator(
    state: &State,
    token: &str,
    thumbprint: &str,
    operator_id: Uuid,
) -> Result<(), Problem> {
    let Some(phone) = door::phone_with(&state.database, token, thumbprint).await? else {
        return Ok(());
    };
    let here = phone.session.to_string();
    state.wrong_operators.take(&here)?;
    person::standing(&state.database, phone.org_id, operator_id, phone.session)
        .await?
        .ok_or_else(no_operator)?;
    state.wrong_operators.give_back(&here);
    Ok(())
}

fn no_operator() -> Problem {
    Problem::invalid(vec![Invalid::new(
        "operator_id",
        "names no operator of the depot that this phone is shared at",
    )])
}
