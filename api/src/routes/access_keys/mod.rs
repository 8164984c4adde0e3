//! Keys of depot systems.

mod create;
mod find;
mod list;
mod revoke;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(create::create)
        .service(list::list)
        .service(find::find)
        .service(revoke::revoke);
}
