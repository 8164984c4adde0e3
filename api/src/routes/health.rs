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
    /// `live`.
    status: &'static str,
}

/// It can do its work, and so far are the workers with theirs.
#[derive(Debug, Serialize, ToSchema)]
pub struct Ready {
    /// `ready`.
    status: &'static str,
    /// Depots of which readiness is to be computed anew.
    due: i64,
    /// For how long the first of them has been waiting, in seconds; null when none is. Minutes mean that no worker runs,
    /// or that they do not keep up.
    oldest_due_s: Option<f64>,
    /// Depots that could not be computed so often that they are tried once an hour only; `rimeyard-worker marks` says
    /// why.
    parked: i64,
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
/// The database answers, its schema is not behind this server, and its guards stand. Workers are other programs: one
/// that stands makes no server unready, but what it leaves undone is told here; watch `oldest_due_s` and `parked`.
#[utoipa::path(
    tag = "health",
    responses(
        (status = 200, description = "It can.", body = Ready),
        (status = 503, description = "It cannot now; the log says why.", content_type = "application/problem+json", body = crate::problem::ProblemDetails)
    ),
    security(())
)]
#[get("/health/ready")]
pub async fn ready(state: Data<State>) -> Result<Answer, Problem> {
    let backlog = state.check_ready().await?;
    Ok(Answer::value(&Ready {
        status: "ready",
        due: backlog.due,
        oldest_due_s: backlog.oldest_age_s,
        parked: backlog.parked,
    }))
}
