//! /v1/depots/{depot_id}/stock: a depot's shelf, and the ledger of what came and went.

mod book;
mod list;
mod moves;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(moves::moves)
        .service(book::book);
}
