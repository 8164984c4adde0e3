//! The pages: server-rendered, signed in by a cookie, without a line of script. They show the same stored documents as
//! GET /v1/readiness, and what a page may show is decided by the same guard and the same finders.

mod depot;
mod district;
mod html;
mod machine;
mod owed;
mod session;
mod units;
mod words;

pub use html::refused;
pub use session::COOKIE;

use utoipa_actix_web::service_config::ServiceConfig;

/// The tag of page operations in the document: the guard takes their cookie and answers their problems as pages.
pub const TAG: &str = "page";

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(district::district)
        .service(depot::depot)
        .service(machine::machine)
        .service(session::sign_in)
        .service(session::sign_out)
        .service(units::set_units);
}
