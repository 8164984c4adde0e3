//! /v1/parts: the organisation's list of parts. What is fitted to a unit is at /v1/units/{unit_id}/parts.

mod create;
mod find;
mod list;
mod update;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create)
        .service(update::update);
}
