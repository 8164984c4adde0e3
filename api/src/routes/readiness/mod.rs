//! /v1/readiness: how ready the depots are, each with its reasons, and the machines behind them.
//!
//! What is served here was computed by the worker and is kept as text: an answer puts those texts together as they
//! are, with `as_of` and `valid_until` in front, and serialises nothing again.

mod depot;
mod list;
mod shapes;
mod splice;
mod unit;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(depot::depot)
        .service(unit::unit);
}
