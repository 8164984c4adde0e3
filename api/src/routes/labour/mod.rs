//! /v1/depots/{depot_id}/labour: whose hours a depot has, week by week, and what a visit there costs.

mod find;
mod update;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(find::find).service(update::update);
}
