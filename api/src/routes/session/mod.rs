//! Signing in and out, and who one is.

mod me;
mod password;
mod refresh;
mod sign_in;
mod sign_out;

pub use sign_in::{begin, network};

use rimeyard_store::door::Session;
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::answer::Answer;
use crate::problem::Problem;
use crate::state::State;
use crate::token::{Kind, Subject};

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(sign_in::sign_in)
        .service(refresh::refresh)
        .service(sign_out::sign_out)
        .service(me::me)
        .service(password::change)
        .service(me::jwks);
}

/// What a session is used with (the names are those of RFC 6749, section 5.1).
#[derive(Serialize, ToSchema)]
pub struct Tokens {
    /// Send it as `Authorization: Bearer`.
    access_token: String,
    /// Exchange it for new tokens before the access token expires, once.
    refresh_token: String,
    /// How long the access token lives, in seconds.
    #[schema(example = 600)]
    expires_in_s: i64,
    /// Always `Bearer`.
    #[schema(example = "Bearer")]
    token_type: &'static str,
}

/// New tokens of a session.
async fn tokens(state: &State, session: Session) -> Result<Answer, Problem> {
    Ok(Answer::value(&tokens_of(state, session).await?).secret())
}

/// The same, to stand in an answer beside other things.
pub(super) async fn tokens_of(state: &State, session: Session) -> Result<Tokens, Problem> {
    let subject = Subject {
        org_id: session.known.org_id,
        person_id: session.known.person_id,
        session: session.id,
    };
    let access_token =
        state
            .keys()
            .await?
            .sign(Kind::Access, subject, jiff::Timestamp::now().as_second())?;
    Ok(Tokens {
        access_token,
        refresh_token: session.refresh_token,
        expires_in_s: Kind::Access.life_s(),
        token_type: "Bearer",
    })
}
