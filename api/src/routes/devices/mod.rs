//! Phones: codes to enrol them with, those that are enrolled, and what those that were shut out had not sent.

mod enrol;
mod find;
mod list;
mod make_code;
mod revoke;
mod send_unsent;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(make_code::make_code)
        .service(enrol::enrol)
        .service(send_unsent::send_unsent)
        .service(list::list)
        .service(find::find)
        .service(revoke::revoke);
}
