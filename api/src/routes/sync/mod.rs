//! /v1/sync: how phones and other readers keep a copy of what they may see.

mod pull;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(pull::pull);
}
