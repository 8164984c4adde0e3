//! /v1/units/{unit_id}/parts: parts as fitted to a unit, now and before.

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
