//! What to fix first: /v1/depots/{depot_id}/fix-first, /v1/fix-first. Worked out when it is asked for, and not kept.

mod asked;
mod compute;
mod depot;
mod district;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(depot::depot).service(district::district);
}
