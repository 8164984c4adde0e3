//! POST /v1/me/password

use actix_web::{HttpRequest, post};
use rimeyard_store::password::{self, Password};
use rimeyard_store::{Error, door, person};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sign_in::network;
use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::{Problem, ProblemDetails};
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// One's own password, changed.
#[derive(Debug, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordChange {
    /// The one until now.
    #[schema(value_type = String)]
    current: Password,
    /// The one from now on: 12 to 200 characters.
    #[schema(value_type = String)]
    new: Password,
}

/// It was changed.
#[derive(Debug, Serialize, ToSchema)]
pub struct PasswordChanged {
    /// The address to sign in with.
    email: String,
}

/// Change your own password.
///
/// Your other sessions end; this one goes on.
#[utoipa::path(
    tag = "session",
    responses(
        (status = 200, description = "Changed.", body = PasswordChanged),
        (status = 429, description = "Too many wrong passwords; Retry-After says how many seconds to wait.",
            content_type = "application/problem+json", body = ProblemDetails)
    ),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/v1/me/password")]
pub async fn change(
    who: Signed,
    request: HttpRequest,
    body: Json<PasswordChange>,
) -> Result<Answer, Problem> {
    let state = &who.state;
    let person_id = who.person_id.unwrap_or_default();
    let (change, once) = body.into_parts();
    let once = once.map(|once| once.told_by("change one's password", &change));
    // Whoever holds a token for a moment must not find the password out by trying.
    let here = format!("{} {person_id}", network(state, &request));
    state.by_email_and_network.take(&here)?;
    let hashed = password::hash(change.new.as_str())
        .await
        .map_err(|error| match error {
            Error::Invalid { problem, .. } => Error::invalid("new", problem),
            error => error,
        })?;
    let answer = who
        .write_where(
            once,
            async |tx| {
                let email = person::find(tx, person_id).await?.email.unwrap_or_default();
                let known = door::sign_in(&state.database, &email, change.current.as_str()).await?;
                if known.is_some_and(|known| known.known.person_id == person_id) {
                    Ok(vec![who.org_id])
                } else {
                    Err(Error::invalid("current", "is not your password"))
                }
            },
            async |tx| {
                let email = person::change_password(tx, &hashed, who.session).await?;
                Ok(Answer::value(&PasswordChanged { email }))
            },
        )
        .await?;
    state.by_email_and_network.give_back(&here);
    Ok(answer)
}
