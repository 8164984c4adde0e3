//! Which version of an object a change is meant for.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest};

use crate::problem::Problem;

/// The version that If-Match names: the `rev` in the ETag that a GET answered. Absent is 428; what is no ETag of ours
/// can match no version, so it is 412.
#[derive(Debug, Clone, Copy)]
pub struct IfMatch(pub i64);

impl FromRequest for IfMatch {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let Some(value) = request.headers().get(header::IF_MATCH) else {
            return ready(Err(Problem::precondition_required()));
        };
        let rev = value.to_str().ok().and_then(|tag| {
            let tag = tag.trim().strip_prefix('"')?.strip_suffix('"')?;
            // After the version may follow what the content was and what it was compressed with.
            tag.split('-').next()?.parse().ok()
        });
        ready(rev.map(Self).ok_or_else(Problem::stale))
    }
}
