//! /v1/meter-readings: hours and starts.

mod create;
mod find;
mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create);
}
