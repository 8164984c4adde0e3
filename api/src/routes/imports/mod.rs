//! /v1/imports: tables that people bring, from the first byte to the last object.

mod apply;
mod body;
mod create;
mod faults;
mod find;
mod list;
mod rows;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(create::create)
        .service(list::list)
        .service(find::find)
        .service(rows::rows)
        .service(faults::faults)
        .service(apply::apply);
}
