//! /v1/depots/{depot_id}/what-if: what a depot would come to. Worked out when it is asked for, and not kept.

mod ask;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(ask::ask);
}
