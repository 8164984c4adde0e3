//! /v1/tasks-done, and /v1/units/{unit_id}/tasks-done: tasks of units' sheets, done.

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
