//! /v1/people: who may sign in, and what they may do where.

mod create;
mod find;
mod list;
mod update;

use rimeyard_store::password::{self, Hashed, Password};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::problem::Problem;

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(list::list)
        .service(find::find)
        .service(create::create)
        .service(update::update);
}

/// Hashes a password before the write: it takes its time, and the organisation's scope must not wait for it.
async fn hash(password: Option<&Password>) -> Result<Option<Hashed>, Problem> {
    match password {
        Some(password) => Ok(Some(password::hash(password.as_str()).await?)),
        None => Ok(None),
    }
}
