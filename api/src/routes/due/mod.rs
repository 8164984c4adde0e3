//! /v1/due: what is owed of machines, by date.

mod list;
pub mod place;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list);
}
