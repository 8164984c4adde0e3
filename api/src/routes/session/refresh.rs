//! POST /v1/sign-in/refresh

use actix_web::post;
use actix_web::web::Data;
use rimeyard_store::{door, person};
use serde::Deserialize;
use utoipa::ToSchema;

use super::{Tokens, tokens};
use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::{Problem, ProblemDetails};
use crate::state::State;

/// A refresh token.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Refresh {
    /// The last one received.
    refresh_token: String,
}

/// Exchange a refresh token for new tokens.
///
/// Until its successor is used, the same token answers again: an answer may get lost. After that it ends the session,
/// since someone else must have it.
#[utoipa::path(
    tag = "session",
    responses(
        (status = 200, description = "New tokens.", body = Tokens),
        (status = 401, description = "The token is worth nothing, or no longer: sign in again.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    security(())
)]
#[post("/v1/sign-in/refresh")]
pub async fn refresh(state: Data<State>, body: Json<Refresh>) -> Result<Answer, Problem> {
    let refused =
        || Problem::unauthorized("The refresh token is not valid, or no longer. Sign in again.");
    let session = door::refresh(&state.database, &body.refresh_token)
        .await?
        .ok_or_else(refused)?;
    let known = session.known;
    let standing =
        person::standing(&state.database, known.org_id, known.person_id, session.id).await?;
    standing.ok_or_else(refused)?;
    tokens(&state, session).await
}
