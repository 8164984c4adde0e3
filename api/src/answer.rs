//! An answer that went well: JSON, with the ETag of what it shows.

use std::borrow::Cow;

use actix_web::body::BoxBody;
use actix_web::http::{Method, StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, Responder};
use rimeyard_store::Kept;
use serde::Serialize;
use sha2::{Digest, Sha256};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::edge::uncoded;
use crate::extract::{Cursor, Limit};
use crate::units::Units;

/// One page of a list.
#[derive(Debug, Serialize, ToSchema)]
pub struct Page<T> {
    /// The objects, ordered by id.
    pub items: Vec<T>,
    /// Give it as `cursor` to get the next page; null on the last one.
    pub next_cursor: Option<Cursor>,
}

impl<T> Page<T> {
    /// A page of at most `limit` of `items`, of which a finder was asked for one more, to know whether more follow.
    pub fn new(mut items: Vec<T>, limit: Limit, id: impl Fn(&T) -> Uuid) -> Self {
        let limit = limit.get() as usize;
        let more = items.len() > limit;
        items.truncate(limit);
        let next_cursor = items
            .last()
            .filter(|_| more)
            .map(|last| Cursor::after(id(last)));
        Self { items, next_cursor }
    }
}

/// What a handler answers. A GET whose If-None-Match names the ETag is answered 304 without a body.
#[derive(Debug)]
pub struct Answer {
    status: StatusCode,
    etag: Option<String>,
    location: Option<String>,
    secret: bool,
    exact: bool,
    body: String,
}

impl Answer {
    /// 200: one object at its version.
    pub fn object(object: &impl Serialize, rev: i64) -> Self {
        Self {
            etag: Some(format!("\"{rev}\"")),
            ..Self::value(object)
        }
    }

    /// The same object, of which not every reader is shown all: its ETag names the version and is made of the content too.
    pub fn of_reader(self) -> Self {
        let etag = self.etag.as_deref().map(|etag| {
            let rev = etag.trim_matches('"');
            format!("\"{rev}-{}\"", digest(&self.body))
        });
        Self { etag, ..self }
    }

    /// 201: one object, new, at `location`.
    pub fn created(location: String, object: &impl Serialize, rev: i64) -> Self {
        Self {
            status: StatusCode::CREATED,
            location: Some(location),
            ..Self::object(object, rev)
        }
    }

    /// 202: what goes on after this answer, to be looked at under `location`.
    pub fn accepted(location: String, object: &impl Serialize) -> Self {
        Self {
            status: StatusCode::ACCEPTED,
            location: Some(location),
            ..Self::value(object)
        }
    }

    /// 200: what has no version of its own, such as a page of a list. Its ETag is made of its content.
    pub fn content(content: &impl Serialize) -> Self {
        Self::json(Self::value(content).body)
    }

    /// 200: JSON already written, whose maker knows an ETag for it.
    pub fn text(body: String, etag: String) -> Self {
        Self {
            status: StatusCode::OK,
            etag: Some(etag),
            location: None,
            secret: false,
            exact: false,
            body,
        }
    }

    /// 200: JSON already written, with an ETag made of its content.
    pub fn json(body: String) -> Self {
        let etag = format!("\"{}\"", digest(&body));
        Self::text(body, etag)
    }

    /// 200: the answer to a question that is not kept: no ETag.
    pub fn value(value: &impl Serialize) -> Self {
        Self {
            status: StatusCode::OK,
            etag: None,
            location: None,
            secret: false,
            exact: false,
            body: serde_json::to_string(value)
                .expect("our own types have text for keys, so they serialise"),
        }
    }

    /// The same with 201: it was made, and has no address of its own.
    pub fn made(self) -> Self {
        Self {
            status: StatusCode::CREATED,
            ..self
        }
    }

    /// The same, to be stored by no cache at all.
    pub fn secret(self) -> Self {
        Self {
            secret: true,
            ..self
        }
    }

    /// The same, byte by byte for every reader: its texts stay in the units that they are kept in.
    pub fn exact(self) -> Self {
        Self {
            exact: true,
            ..self
        }
    }

    /// The same in the units of a reader: what is rewritten for them is another representation, with an ETag of its own.
    fn said_in(self, units: Units) -> Self {
        let Cow::Owned(body) = units.say(&self.body) else {
            return self;
        };
        let etag = self.etag.as_deref().map(|etag| {
            let etag = etag.trim_end_matches('"');
            format!("{etag}-us\"")
        });
        Self { etag, body, ..self }
    }
}

/// 96 bits of the SHA-256 of a body, in hex.
fn digest(body: &str) -> String {
    let hash = Sha256::digest(body);
    hash[..12]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// To be kept with an Idempotency-Key, in the transaction of what it answers.
impl From<&Answer> for Kept {
    fn from(answer: &Answer) -> Self {
        Kept {
            status: answer.status.as_u16().into(),
            headers: serde_json::json!({"etag": answer.etag, "location": answer.location}),
            body: answer.body.clone(),
        }
    }
}

/// The answer given the first time, again.
impl From<Kept> for Answer {
    fn from(kept: Kept) -> Self {
        let header = |name: &str| kept.headers[name].as_str().map(str::to_owned);
        Self {
            status: u16::try_from(kept.status)
                .ok()
                .and_then(|status| StatusCode::from_u16(status).ok())
                .unwrap_or(StatusCode::OK),
            etag: header("etag"),
            location: header("location"),
            secret: false,
            exact: false,
            body: kept.body,
        }
    }
}

impl Responder for Answer {
    type Body = BoxBody;

    fn respond_to(self, request: &HttpRequest) -> HttpResponse {
        let known = || request.headers().get(header::IF_NONE_MATCH)?.to_str().ok();
        let mut answer = HttpResponse::build(self.status);
        let shown = if self.exact {
            self
        } else {
            answer.append_header((header::VARY, "accept-language"));
            self.said_in(Units::asked(request))
        };
        if let Some(etag) = &shown.etag {
            answer.insert_header((header::ETAG, etag.as_str()));
            // Compared weakly (RFC 9110, 13.1.2); what it was compressed with does not make it another version.
            let matches = |known: &str| {
                known
                    .split(',')
                    .map(|known| known.trim().trim_start_matches("W/"))
                    .any(|known| known == "*" || uncoded(known) == *etag)
            };
            if request.method() == Method::GET && known().is_some_and(matches) {
                return answer.status(StatusCode::NOT_MODIFIED).finish();
            }
        }
        if shown.secret {
            answer.insert_header((header::CACHE_CONTROL, "no-store"));
        }
        if let Some(location) = shown.location {
            answer.insert_header((header::LOCATION, location));
        }
        answer.content_type("application/json").body(shown.body)
    }
}
