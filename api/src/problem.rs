//! What went wrong, as the client reads it: problem details of RFC 9457. This is the one place where an error of the
//! rules or the store becomes a status and words; nothing of the inside (SQL, paths, causes) can be serialised here.

use std::borrow::Cow;
use std::fmt;

use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderName, HeaderValue};
use actix_web::{HttpResponse, ResponseError};
use rimeyard_rules::Invalid;
use serde::Serialize;
use utoipa::ToSchema;

/// The media type of RFC 9457.
pub const PROBLEM_JSON: &str = "application/problem+json";

/// Problem details (RFC 9457).
#[derive(Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct ProblemDetails<'a> {
    /// Always `about:blank`: the status says what kind of problem it is.
    #[serde(rename = "type")]
    #[schema(example = "about:blank")]
    kind: &'static str,
    /// The status in words.
    #[schema(example = "Unprocessable Entity")]
    title: &'static str,
    /// The HTTP status.
    #[schema(example = 422)]
    status: u16,
    /// What is wrong and what to do.
    detail: &'a str,
    /// The fields at fault, each with what is wrong with it and what to do; empty where no field is.
    errors: &'a [Invalid],
}

/// An answer that is a problem. Handlers return it as their error.
#[derive(Debug)]
pub struct Problem {
    status: StatusCode,
    detail: Cow<'static, str>,
    errors: Vec<Invalid>,
    header: Option<Box<(HeaderName, HeaderValue)>>,
}

impl Problem {
    fn new(status: StatusCode, detail: impl Into<Cow<'static, str>>) -> Self {
        Self {
            status,
            detail: detail.into(),
            errors: Vec::new(),
            header: None,
        }
    }

    /// What is wrong and what to do, in words.
    pub fn detail(&self) -> &str {
        &self.detail
    }

    /// The fields that are wrong, each with what to do.
    pub fn errors(&self) -> &[Invalid] {
        &self.errors
    }

    /// 400: not JSON, or a query that cannot be read.
    pub fn malformed(errors: Vec<Invalid>) -> Self {
        Self {
            errors,
            ..Self::new(
                StatusCode::BAD_REQUEST,
                "The request cannot be read. Correct what `errors` names and send it again.",
            )
        }
    }

    /// 422: read, but a value is wrong.
    pub fn invalid(errors: Vec<Invalid>) -> Self {
        Self {
            errors,
            ..Self::new(
                StatusCode::UNPROCESSABLE_ENTITY,
                "Nothing was stored. Correct the fields that `errors` names and send it again.",
            )
        }
    }

    /// 401: not signed in, or no longer.
    pub fn unauthorized(detail: &'static str) -> Self {
        Self {
            header: Some(Box::new((
                header::WWW_AUTHENTICATE,
                HeaderValue::from_static("Bearer"),
            ))),
            ..Self::new(StatusCode::UNAUTHORIZED, detail)
        }
    }

    /// 401: a phone's proof of its key is missing or proves nothing (RFC 9449, section 7.1).
    pub fn no_proof(detail: String) -> Self {
        Self {
            header: Some(Box::new((
                header::WWW_AUTHENTICATE,
                HeaderValue::from_static("DPoP error=\"invalid_dpop_proof\""),
            ))),
            ..Self::new(StatusCode::UNAUTHORIZED, detail)
        }
    }

    /// 403: the role may not do this.
    pub fn forbidden() -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "Your role may not do this. Ask someone whose role may.",
        )
    }

    /// 403: a depot system's key is not one that may write this.
    pub fn not_named_with_key() -> Self {
        Self::new(
            StatusCode::FORBIDDEN,
            "This key may not write this. An administrator makes one with it named in `may_write`.",
        )
    }

    /// 404: no such thing, or nothing that this person may know of. The two are the same to the byte, so this takes
    /// no argument.
    pub fn not_found() -> Self {
        Self::new(
            StatusCode::NOT_FOUND,
            "There is nothing here that you may see.",
        )
    }

    /// 405: the address exists, the method does not. `allow` as in RFC 9110: methods separated by commas.
    pub fn method_not_allowed(allow: &str) -> Self {
        Self {
            header: HeaderValue::from_str(allow)
                .ok()
                .map(|allow| Box::new((header::ALLOW, allow))),
            ..Self::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "This address does not take that method; the Allow header lists those it takes.",
            )
        }
    }

    /// 408: a body that does not come.
    pub fn too_slow() -> Self {
        Self::new(
            StatusCode::REQUEST_TIMEOUT,
            "The body took too long to arrive. Send it again, or less at once.",
        )
    }

    /// 409: it contradicts what is stored.
    pub fn conflict(detail: impl Into<Cow<'static, str>>, errors: Vec<Invalid>) -> Self {
        Self {
            errors,
            ..Self::new(StatusCode::CONFLICT, detail)
        }
    }

    /// 412: changed since the version that If-Match names.
    pub fn stale() -> Self {
        Self::new(
            StatusCode::PRECONDITION_FAILED,
            "It was changed since you read it. Read it again, look at what changed, and send your change with the new ETag.",
        )
    }

    /// 413: a body over the limit.
    pub fn too_large(limit_bytes: usize) -> Self {
        Self::new(
            StatusCode::PAYLOAD_TOO_LARGE,
            format!("A body may have at most {limit_bytes} bytes. Send less at once."),
        )
    }

    /// 414: an address over the limit.
    pub fn address_too_long(limit_bytes: usize) -> Self {
        Self::new(
            StatusCode::URI_TOO_LONG,
            format!("An address with its query may have at most {limit_bytes} bytes."),
        )
    }

    /// 431: headers over the limit.
    pub fn headers_too_long(limit_bytes: usize) -> Self {
        Self::new(
            StatusCode::REQUEST_HEADER_FIELDS_TOO_LARGE,
            format!("The headers may have at most {limit_bytes} bytes together."),
        )
    }

    /// 415: not JSON, or compressed.
    pub fn unsupported_media_type() -> Self {
        Self::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "Send the body as Content-Type: application/json, without a Content-Encoding.",
        )
    }

    /// 415: no table.
    pub fn not_a_table() -> Self {
        Self::new(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            "Send the table as Content-Type: text/csv, in UTF-8 and without a Content-Encoding.",
        )
    }

    /// 428: a change without If-Match.
    pub fn precondition_required() -> Self {
        Self::new(
            StatusCode::PRECONDITION_REQUIRED,
            "Send If-Match with the ETag of the version you are changing, so that no one's change is lost.",
        )
    }

    /// 429: too many attempts.
    pub fn too_many(retry_after_s: u64) -> Self {
        Self {
            header: Some(Box::new((
                header::RETRY_AFTER,
                HeaderValue::from(retry_after_s),
            ))),
            ..Self::new(
                StatusCode::TOO_MANY_REQUESTS,
                "Too many attempts. Wait as many seconds as Retry-After says.",
            )
        }
    }

    /// 500: our fault. The cause is logged, never sent.
    pub fn internal(cause: impl fmt::Display) -> Self {
        tracing::error!(error.cause = %cause, "request.failed");
        Self::new(
            StatusCode::INTERNAL_SERVER_ERROR,
            "Something failed on our side; it has been logged under the id in the X-Request-Id header.",
        )
    }

    /// 503: the database cannot be reached, or is too busy.
    pub fn unavailable(cause: impl fmt::Display) -> Self {
        tracing::warn!(error.cause = %cause, "request.unavailable");
        Self {
            header: Some(Box::new((
                header::RETRY_AFTER,
                HeaderValue::from_static("5"),
            ))),
            ..Self::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "The service cannot answer now. Try again in a few seconds.",
            )
        }
    }
}

impl From<Invalid> for Problem {
    fn from(invalid: Invalid) -> Self {
        Self::invalid(vec![invalid])
    }
}

impl From<rimeyard_store::Error> for Problem {
    fn from(error: rimeyard_store::Error) -> Self {
        use rimeyard_store::Error as Store;
        match error {
            Store::NotFound { .. } => Self::not_found(),
            Store::Forbidden => Self::forbidden(),
            Store::Conflict { field, problem } => Self::conflict(
                "It contradicts what is stored; nothing was changed. See `errors`.",
                vec![Invalid::new(field, problem)],
            ),
            Store::Invalid { field, problem } => Self::invalid(vec![Invalid::new(field, problem)]),
            Store::Faults(errors) => Self::invalid(errors),
            Store::Stale => Self::stale(),
            Store::Contended => Self::unavailable("others wrote the same rows, three times over"),
            Store::Moved => Self::unavailable("what is written to was being moved"),
            Store::Unavailable(cause) | Store::TooSlow(cause) | Store::Refused(cause) => {
                Self::unavailable(cause)
            }
            Store::Internal(cause) => Self::internal(cause),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.status, self.detail)
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.status
    }

    fn error_response(&self) -> HttpResponse {
        let body = ProblemDetails {
            kind: "about:blank",
            title: self.status.canonical_reason().unwrap_or("Problem"),
            status: self.status.as_u16(),
            detail: &self.detail,
            errors: &self.errors,
        };
        let mut answer = HttpResponse::build(self.status);
        if let Some(header) = &self.header {
            answer.insert_header((&header.0, &header.1));
        }
        answer
            .insert_header((header::CONTENT_TYPE, PROBLEM_JSON))
            .json(body)
    }
}
