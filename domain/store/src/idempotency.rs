//! The answer once given to a write that carried an Idempotency-Key, stored in the effect's own transaction and given
//! again to a repeat. The write's scopes are locked by then, so two repeats at the same moment wait for each other.

use diesel::prelude::*;
use diesel::sql_types::{Binary, Integer, Jsonb, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde::Serialize;
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::feed::Write;
use crate::schema::idempotency;
use crate::{Error, Result, Tx, prepared};

/// A request to be carried out once: its key and the digest of what it asks.
#[derive(Debug, Clone)]
pub struct Once {
    key: String,
    digest: [u8; 32],
}

impl Once {
    /// `key` of 1 to 200 characters. Method, path and body are what makes it the same request.
    pub fn new(key: String, method: &str, path: &str, body: &[u8]) -> Self {
        let mut hash = Sha256::new();
        for part in [method.as_bytes(), path.as_bytes(), body] {
            hash.update((part.len() as u64).to_be_bytes());
            hash.update(part);
        }
        Once {
            key,
            digest: hash.finalize().into(),
        }
    }

    /// The same key, with the request told by `content` in place of its body: for a body with a password in it, whose
    /// digest would be a way around the slow hash that protects it. `content` serialises without.
    pub fn told_by(self, request: &str, content: &impl Serialize) -> Self {
        let content = serde_json::to_vec(content).unwrap_or_default();
        Self::new(self.key, request, "", &content)
    }
}

/// An answer as it is kept.
#[derive(Debug, Clone, Queryable, Selectable)]
#[diesel(table_name = idempotency)]
pub struct Kept {
    /// HTTP status.
    pub status: i32,
    /// The headers that belong to it, by name.
    pub headers: serde_json::Value,
    /// The body.
    pub body: String,
}

/// The answer kept for this key of this person, if any.
///
/// # Errors
/// [`Error::Invalid`] where the key was used for another request.
pub async fn find(tx: &Tx<'_>, once: &Once) -> Result<Option<Kept>> {
    let found: Option<(Vec<u8>, Kept)> = idempotency::table
        .find((tx.org_id(), person(tx)?, &once.key))
        .select((idempotency::request_digest, Kept::as_select()))
        .first(&mut tx.connection())
        .await
        .optional()?;
    match found {
        Some((digest, _)) if digest != once.digest => Err(Error::invalid(
            "Idempotency-Key",
            "was used for another request; make a new key for each new request",
        )),
        found => Ok(found.map(|(_, kept)| kept)),
    }
}

/// Keeps the answer for 30 days.
///
/// # Errors
/// [`Error::Contended`] where the same key was used at the same moment on other scopes: tried again, it is found.
pub async fn keep(tx: &Write<'_>, once: &Once, answer: &Kept) -> Result<()> {
    let kept = prepared(
        diesel::sql_query(
            "insert into idempotency (org_id, person_id, key, request_digest, status, headers, body)
             values ($1, $2, $3, $4, $5, $6, $7) on conflict do nothing",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(person(tx)?)
        .bind::<Text, _>(&once.key)
        .bind::<Binary, _>(&once.digest[..])
        .bind::<Integer, _>(answer.status)
        .bind::<Jsonb, _>(&answer.headers)
        .bind::<Text, _>(&answer.body),
    )
    .execute(&mut tx.connection())
    .await?;
    if kept == 1 {
        Ok(())
    } else {
        Err(Error::Contended)
    }
}

fn person(tx: &Tx<'_>) -> Result<Uuid> {
    tx.tenant()
        .person_id
        .ok_or_else(|| Error::internal("an Idempotency-Key without a person"))
}
