//! Answers that are tables.

use actix_web::http::header;
use actix_web::{HttpResponse, HttpResponseBuilder};

/// The media type of RFC 7111.
pub const TEXT_CSV: &str = "text/csv";

/// 200: a table to be kept under this name. It may be of any moment, so nothing keeps it on the way.
pub fn answer(name: &str) -> HttpResponseBuilder {
    let mut answer = HttpResponse::Ok();
    answer
        .content_type("text/csv; charset=utf-8; header=present")
        .insert_header((
            header::CONTENT_DISPOSITION,
            format!("attachment; filename=\"{name}.csv\""),
        ))
        .insert_header((header::CACHE_CONTROL, "no-store"));
    answer
}
