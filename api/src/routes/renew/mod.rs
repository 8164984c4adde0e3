//! Repair or renew: /v1/units/{unit_id}/renew, /v1/renew. Nothing of it is kept: it is computed when it is asked for, from the
//! facts of that moment.

mod asked;
mod district;
mod of_unit;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(district::district).service(of_unit::of_unit);
}
