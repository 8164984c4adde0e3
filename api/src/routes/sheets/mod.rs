//! /v1/models/{model_id}/sheets: the versions of a model's sheet, and the sheets to start from.

mod create;
mod default;
mod find;
mod kinds;
mod list;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create)
        .service(kinds::kinds)
        .service(default::default);
}
