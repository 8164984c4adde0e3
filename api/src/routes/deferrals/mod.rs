//! /v1/deferrals, and /v1/units/{unit_id}/deferrals: tasks put off.

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
        .service(end::end);
}
