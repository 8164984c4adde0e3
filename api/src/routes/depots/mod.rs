//! /v1/depots: the places machines stand at.

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
