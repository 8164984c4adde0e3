//! /v1/depots/{depot_id}/crew-sheet: what a crew takes along into a storm. Worked out when it is asked for, and not kept.

mod find;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(find::find);
}
