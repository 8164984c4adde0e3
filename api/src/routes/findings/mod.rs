//! /v1/findings: what was found wrong.

mod find;
mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list).service(find::find);
}
