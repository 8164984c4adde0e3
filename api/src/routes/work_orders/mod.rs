//! /v1/work-orders: what is to be done to machines.

mod create;
mod find;
mod list;
mod propose;
mod update;

use rimeyard_store::work_order::{self, OrderShown, WorkOrder};
use rimeyard_store::{Error, Result, Tx};
use utoipa_actix_web::service_config::ServiceConfig;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(propose::propose)
        .service(create::create)
        .service(update::update);
}

/// One order, as it is shown.
async fn shown(tx: &Tx<'_>, order: WorkOrder) -> Result<OrderShown> {
    let shown = work_order::shown(tx, vec![order]).await?.pop();
    shown.ok_or_else(|| Error::internal("an order went in and none came out"))
}
