//! /v1/depots/{depot_id}/snowfall: new snow, day by day.

mod list;
mod note;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list::list).service(note::note);
}
