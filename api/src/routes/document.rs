//! The document of this API, as JSON and as a page to browse.

use actix_web::http::header;
use actix_web::web::Data;
use actix_web::{HttpResponse, get};
use utoipa_actix_web::service_config::ServiceConfig;

use crate::answer::Answer;

/// The completed document as text.
pub struct Document(pub String);

/// Mounts them. The page itself, at `/docs/`, is mounted by [`app`](mod@crate::app): it is a folder of files.
pub fn routes(config: &mut ServiceConfig) {
    config.service(openapi).service(docs);
}

/// Get this document.
#[utoipa::path(
    tag = "document",
    responses((status = 200, description = "The OpenAPI document.", body = Object)),
    security(())
)]
#[get("/openapi.json")]
pub async fn openapi(document: Data<Document>) -> Answer {
    Answer::json(document.0.clone())
}

/// Browse this document.
#[utoipa::path(
    tag = "document",
    responses((status = 308, description = "The page is at /docs/.")),
    security(())
)]
#[get("/docs")]
pub async fn docs() -> HttpResponse {
    HttpResponse::PermanentRedirect()
        .insert_header((header::LOCATION, "/docs/"))
        .finish()
}
