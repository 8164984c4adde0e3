//! Whether this server lives, and whether it can do its work.

use actix_web::get;
use actix_web::web::Data;
use serde::Serialize;
use utoipa::ToSchema;
use utoipa_actix_web::service_config::ServiceConfig;

use crate::answer::Answer;
use crate::problem::Problem;
use crate::state::State;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(live).service(ready);
}

/// It is well.
#[derive(Debug, Serialize, ToSchema)]
pub struct Health {
    /// `live`, or `ready`.
    status: &'static str,
}

/// Ask whether the server lives.
///
/// It looks at nothing else: restart a server that does not answer.
#[utoipa::path(
    tag = "health",
    responses((status = 200, description = "It lives.", body = Health)),
    security(())
)]
#[get("/health/live")]
pub async fn live() -> Answer {
    Answer::value(&Health { status: "live" })
}

/// Ask whether the server can do its work.
///
/// The database answers, its schema is not behind this server, and its guards stand.
#[utoipa::path(
    tag = "health",
    responses(
        (status = 200, description = "It can.", body = Health),
        (status = 503, description = "It cannot now; the log says why.", content_type = "application/problem+json", body = crate::problem::ProblemDetails)
    ),
    security(())
)]
#[get("/health/ready")]
pub async fn ready(state: Data<State>) -> Result<Answer, Problem> {
    state.check_ready().await?;
    Ok(Answer::value(&Health { status: "ready" }))
}
