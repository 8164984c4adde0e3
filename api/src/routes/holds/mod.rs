//! /v1/holds, and /v1/units/{unit_id}/holds: hold tags.

mod create;
mod find;
mod lift;
mod list;
mod name;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create)
        .service(lift::lift)
        .service(name::name);
}
