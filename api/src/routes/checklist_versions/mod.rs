//! /v1/checklists/{checklist_id}/versions: every version of a checklist, kept for ever.

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
