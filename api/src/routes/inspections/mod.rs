//! /v1/inspections: what was found on the machines, and what followed.

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
