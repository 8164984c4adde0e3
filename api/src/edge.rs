//! What holds for every answer, whatever happened inside: an id, one line in the log, a count, no panic that leaks,
//! headers that tell a browser to be careful, and an end to heads that are too long.

use std::panic::AssertUnwindSafe;
use std::rc::Rc;
use std::time::Instant;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, HttpMessage, HttpResponse, ResponseError};
use futures::FutureExt;
use tracing::Instrument;
use uuid::Uuid;

use crate::operations::{Lookup, Operations};
use crate::problem::Problem;
use crate::state::State;

/// The id of a request, made here: it is in the answer's X-Request-Id, in each line of the log and in the audit.
#[derive(Debug, Clone, Copy)]
pub struct RequestId(pub Uuid);

/// The id of a request that nobody is signed in for.
pub fn request_id(request: &actix_web::HttpRequest) -> Option<Uuid> {
    request.extensions().get::<RequestId>().map(|id| id.0)
}

/// Sent unless a handler has set its own. Pages and /docs get along with it; the rest has nothing to load at all.
const HEADERS: [(HeaderName, &str); 8] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'self'; img-src 'self' data:; style-src 'self' 'unsafe-inline'; object-src 'none'; \
         base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "same-origin"),
    (
        HeaderName::from_static("cross-origin-opener-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    ),
    (
        HeaderName::from_static("permissions-policy"),
        "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    ),
    // What is shown belongs to whoever is signed in: a browser may keep it and must ask before it shows it again.
    (header::CACHE_CONTROL, "private, no-cache"),
];

/// The most bytes of an address with its query. RFC 9110, 4.1, asks for 8,000 at least.
const ADDRESS_BYTES_MAX: usize = 8 * 1024;
/// The most bytes of all headers together; actix itself stops reading a head at 128 KiB, with a bare 431.
const HEADERS_BYTES_MAX: usize = 32 * 1024;

/// The outermost middleware.
pub async fn edge<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let id = Uuid::now_v7();
    let started = Instant::now();
    let span = tracing::info_span!("request", request.id = %id);
    request.extensions_mut().insert(RequestId(id));
    let (method, path) = (request.method().clone(), request.path().to_owned());
    // What is no part of the API, as the metrics themselves, is not counted.
    let counted = request
        .app_data::<Data<State>>()
        .cloned()
        .zip(operation(&request));

    let outcome = match too_long(&request) {
        Some(problem) => Ok(Err(problem.into())),
        None => {
            AssertUnwindSafe(next.call(request))
                .catch_unwind()
                .instrument(span.clone())
                .await
        }
    };
    let _in_span = span.enter();
    let outcome = match outcome {
        Ok(Ok(mut answer)) => {
            code(answer.headers_mut());
            decorate(answer.headers_mut(), id);
            Ok(answer)
        }
        Ok(Err(error)) => Err(decorated(error.error_response(), id)),
        // The panic's own words went to the log through the panic hook.
        Err(_) => Err(decorated(Problem::internal("a panic").error_response(), id)),
    };
    let status = match &outcome {
        Ok(answer) => answer.status(),
        Err(error) => error.as_response_error().status_code(),
    };
    let took = started.elapsed();
    if let Some((state, operation)) = counted {
        state
            .metrics
            .answered(operation, method.as_str(), status.as_u16(), took);
    }
    tracing::info!(
        request.method = %method,
        request.path = %path,
        response.status = status.as_u16(),
        request.milliseconds = took.as_secs_f64() * 1e3,
        "request.done"
    );
    outcome
}

/// The id in the document of what is asked for, or `none`; nothing where there is no document.
fn operation(request: &ServiceRequest) -> Option<String> {
    let operations = request.app_data::<Rc<Operations>>()?;
    let method = match request.method() {
        &Method::HEAD => &Method::GET,
        method => method,
    };
    let id = match operations.lookup(&request.match_pattern().unwrap_or_default(), method) {
        Lookup::Found(known) => &known.id,
        _ => "none",
    };
    Some(id.to_owned())
}

fn too_long(request: &ServiceRequest) -> Option<Problem> {
    let uri = request.uri();
    if uri.path_and_query().map_or(0, |both| both.as_str().len()) > ADDRESS_BYTES_MAX {
        return Some(Problem::address_too_long(ADDRESS_BYTES_MAX));
    }
    let headers = request.headers().iter();
    let bytes: usize = headers
        .map(|(name, value)| name.as_str().len() + value.len())
        .sum();
    (bytes > HEADERS_BYTES_MAX).then(|| Problem::headers_too_long(HEADERS_BYTES_MAX))
}

/// One version in two codings is two representations: their ETags must differ (RFC 9110, 8.8.3.3).
fn code(headers: &mut HeaderMap) {
    let coded = || {
        let coding = headers.get(header::CONTENT_ENCODING)?.to_str().ok()?;
        let etag = headers.get(header::ETAG)?.to_str().ok()?;
        HeaderValue::from_str(&format!("{}-{coding}\"", etag.strip_suffix('"')?)).ok()
    };
    if let Some(coded) = coded() {
        headers.insert(header::ETAG, coded);
    }
}

/// The ETag without the coding that this edge has added.
pub fn uncoded(etag: &str) -> String {
    ["gzip", "zstd"]
        .iter()
        .find_map(|coding| etag.strip_suffix(&format!("-{coding}\"")))
        .map_or_else(|| etag.to_owned(), |etag| format!("{etag}\""))
}

/// An error that answers with exactly this.
fn decorated(mut answer: HttpResponse, id: Uuid) -> Error {
    decorate(answer.headers_mut(), id);
    InternalError::from_response("", answer).into()
}

fn decorate(headers: &mut HeaderMap, id: Uuid) {
    if let Ok(id) = HeaderValue::from_str(&id.to_string()) {
        headers.insert(HeaderName::from_static("x-request-id"), id);
    }
    for (name, value) in HEADERS {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
}

#[cfg(test)]
mod tests {
    use actix_web::http::StatusCode;
    use actix_web::middleware::from_fn;
    use actix_web::test::{TestRequest, init_service};
    use actix_web::{App, dev::Service, get};

    use super::*;

    #[get("/panics")]
    async fn panics() -> HttpResponse {
        panic!("the password is hunter2")
    }

    #[actix_web::test]
    #[expect(
        clippy::disallowed_methods,
        reason = "a route that must never be documented"
    )]
    async fn a_panic_is_answered_and_does_not_leak() {
        let app = init_service(App::new().service(panics).wrap(from_fn(edge))).await;
        let request = TestRequest::get().uri("/panics").to_request();
        let error = app.call(request).await.expect_err("an error that answers");
        let answer = error.error_response();
        assert_eq!(answer.status(), StatusCode::INTERNAL_SERVER_ERROR);
        assert!(answer.headers().contains_key("x-request-id"));
        assert!(answer.headers().contains_key("content-security-policy"));
        let body =
            actix_web::body::MessageBody::try_into_bytes(answer.into_body()).expect("at once");
        let body = String::from_utf8_lossy(&body).into_owned();
        assert!(
            body.contains("Internal Server Error") && !body.contains("hunter2"),
            "{body}"
        );
    }
}
