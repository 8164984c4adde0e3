//! /v1/exports: the tables that imports take.

mod export;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(export::export);
}
