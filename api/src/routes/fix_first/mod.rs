//! What to fix first: /v1/depots/{depot_id}/fix-first, /v1/fix-first. Nothing of it is kept: it is computed when it is asked
//! for, from the facts of that moment.

mod compute;
mod depot;
mod district;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(depot::depot).service(district::district);
}
