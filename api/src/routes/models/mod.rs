//! /v1/models: the makes of machine that units are of.

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
