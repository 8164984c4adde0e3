//! A table as a body, taken as it comes: never more of it in memory than a batch of rows.

use std::time::Duration;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpMessage, HttpRequest};
use futures::StreamExt;
use rimeyard_rules::Invalid;
use rimeyard_store::Once;
use sha2::{Digest, Sha256};
use std::future::{Ready, ready};
use tokio::time::Instant;

use crate::csv::TEXT_CSV;
use crate::extract::idempotency_key;
use crate::problem::Problem;

/// The most bytes of a table: 64 MiB.
pub const TABLE_BYTES_MAX: usize = 64 * 1024 * 1024;
/// How long a table may take to arrive: 64 MiB at 35 kB/s, a poor mobile network.
const TABLE_TIME: Duration = Duration::from_secs(32 * 60);
/// How long nothing of it may come.
const PIECE_TIME: Duration = Duration::from_secs(30);

/// A table that arrives.
pub struct Table {
    payload: Payload,
    request: HttpRequest,
    key: Option<String>,
    hash: Sha256,
    bytes: usize,
    until: Instant,
}

impl Table {
    /// The next piece; `None` at the end.
    pub async fn next(&mut self) -> Result<Option<Bytes>, Problem> {
        let soon = (Instant::now() + PIECE_TIME).min(self.until);
        let piece = tokio::time::timeout_at(soon, self.payload.next())
            .await
            .map_err(|_| Problem::too_slow())?;
        let Some(piece) = piece else {
            return Ok(None);
        };
        let piece = piece.map_err(|_| {
            Problem::malformed(vec![Invalid::new("", "the body broke off; send it again")])
        })?;
        self.bytes += piece.len();
        if self.bytes > TABLE_BYTES_MAX {
            return Err(Problem::too_large(TABLE_BYTES_MAX));
        }
        self.hash.update(&piece);
        Ok(Some(piece))
    }

    /// Lets the rest pass by, as much again as a table may have, so that whoever still sends it gets to read the answer.
    pub async fn pass_by(&mut self) {
        let until = self.bytes + TABLE_BYTES_MAX;
        while self.bytes < until {
            let soon = (Instant::now() + PIECE_TIME).min(self.until);
            match tokio::time::timeout_at(soon, self.payload.next()).await {
                Ok(Some(Ok(piece))) => self.bytes += piece.len(),
                _ => return,
            }
        }
    }

    /// The request's Idempotency-Key, told apart from others by all of the table and what was said of it.
    pub fn once(self) -> Option<Once> {
        let address = self.request.uri().to_string();
        let digest = self.hash.finalize();
        self.key
            .map(|key| Once::new(key, self.request.method().as_str(), &address, &digest))
    }
}

impl FromRequest for Table {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let is_csv = request.content_type().eq_ignore_ascii_case(TEXT_CSV);
        let encoded = request.headers().contains_key(header::CONTENT_ENCODING);
        let declared = request
            .headers()
            .get(header::CONTENT_LENGTH)
            .and_then(|length| length.to_str().ok()?.parse::<usize>().ok());
        ready(if !is_csv || encoded {
            Err(Problem::not_a_table())
        } else if declared.is_some_and(|length| length > TABLE_BYTES_MAX) {
            Err(Problem::too_large(TABLE_BYTES_MAX))
        } else {
            idempotency_key(request).map(|key| Self {
                payload: payload.take(),
                request: request.clone(),
                key,
                hash: Sha256::new(),
                bytes: 0,
                until: Instant::now() + TABLE_TIME,
            })
        })
    }
}
