//! What phones that were shut out had not sent, for a person to see to.

mod find;
mod list;
mod settle;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(settle::settle);
}
