//! What was changed, by whom and through what.

mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list);
}
