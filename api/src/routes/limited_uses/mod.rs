//! /v1/limited-use, and /v1/units/{unit_id}/limited-use: use under stated limits.

mod admit;
mod create;
mod end;
mod find;
mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create)
        .service(admit::admit)
        .service(end::end);
}
