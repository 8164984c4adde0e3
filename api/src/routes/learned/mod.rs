//! /v1/learned, and /v1/models/{model_id}/learned: what the fleet has taught of each model.

mod find;
mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list).service(find::find);
}
