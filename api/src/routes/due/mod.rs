//! /v1/due, and /v1/units/{unit_id}/due: what is owed of machines, by date.

mod list;
mod of_unit;
pub mod place;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts it.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list).service(of_unit::of_unit);
}
