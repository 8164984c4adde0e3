//! /v1/checklists: what is looked at on a machine, in working order.

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
