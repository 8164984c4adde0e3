//! What to keep on the shelves and what to buy: /v1/depots/{depot_id}/spares, /v1/season-buy. Nothing of it is kept: it is
//! computed when it is asked for, from the facts of that moment.

mod asked;
pub(super) mod bounds;
mod compute;
mod depot;
mod season_buy;
mod table;

pub(super) use asked::DepotIds;
pub(super) use bounds::DEPOT_IDS;

use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(depot::depot)
        .service(season_buy::season_buy)
        .service(table::table);
}
