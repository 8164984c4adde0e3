//! Keys of depot systems: a program shows one in place of signing in. A key is 256 random bits, told once and kept as its
//! SHA-256; it reads what its depot system is granted, writes what is named with it, and ends on a day or before.

use std::collections::BTreeSet;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use diesel::QueryableByName;
use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Binary, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::{SignedDuration, Timestamp};
use jiff_diesel::{NullableTimestamp, ToDiesel};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::feed::Write;
use crate::json::{json, of_word};
use crate::schema::access_key;
use crate::{Database, Error, Result, Role, Tx, clock, fields, person, prepared};

/// What every key begins with, so that one that lies about in a file is known for what it is.
pub const PREFIX: &str = "rimeyard-key-";
/// The longest that a key may live: a winter, and the next one's first storms.
const LIFE_MAX: SignedDuration = SignedDuration::from_hours(400 * 24);
/// So many keys of one depot system may live at once.
const LIVE_MAX: i64 = 20;
/// What the audit calls a key.
const KIND: &str = "access-key";

/// What a depot system may write with a key, if it is named with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Writes {
    /// What hour meters show.
    #[serde(rename = "meter readings")]
    MeterReadings,
    /// How much snow fell.
    #[serde(rename = "snowfall")]
    Snowfall,
}

/// A key as it is shown: never what is secret in it.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct AccessKey {
    /// Its id.
    pub id: Uuid,
    /// The depot system: a person of that role.
    pub person_id: Uuid,
    /// What it is for.
    pub name: String,
    /// What it may write; reading is what the depot system is granted.
    pub may_write: BTreeSet<Writes>,
    /// When it was made.
    pub created_at: Timestamp,
    /// By whom: a person.
    pub created_by: Uuid,
    /// When it ends.
    pub expires_at: Timestamp,
    /// When it was last shown, to some minutes.
    pub last_used_at: Option<Timestamp>,
    /// When it was ended before.
    pub revoked_at: Option<Timestamp>,
    /// By whom: a person.
    pub revoked_by: Option<Uuid>,
    /// Version; the ETag shows the same.
    pub rev: i64,
}

/// A key to be made.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct NewAccessKey {
    /// A UUID of version 7 made by the client; made here if absent.
    #[cfg_attr(feature = "schema", schema(nullable = false))]
    pub id: Option<Uuid>,
    /// The depot system: a person of that role.
    pub person_id: Uuid,
    /// What it is for: 1 to 200 characters.
    #[cfg_attr(feature = "schema", schema(example = "weather station on the roof"))]
    pub name: String,
    /// What it may write; nothing if absent.
    #[serde(default)]
    pub may_write: BTreeSet<Writes>,
    /// When it ends: at most 400 days ahead.
    pub expires_at: Timestamp,
}

/// Whose a key is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Holder {
    /// The organisation.
    pub org_id: Uuid,
    /// The depot system.
    pub person_id: Uuid,
    /// The key.
    pub key_id: Uuid,
    /// What may be written with it.
    pub may_write: BTreeSet<Writes>,
}

/// At most `limit` keys, of one depot system or of all, ordered by id, those after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &Tx<'_>,
    person_id: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<AccessKey>> {
    let mut query = access_key::table
        .filter(access_key::org_id.eq(tx.org_id()))
        .into_boxed();
    if let Some(person_id) = person_id {
        query = query.filter(access_key::person_id.eq(person_id));
    }
    if let Some(after) = after {
        query = query.filter(access_key::id.gt(after));
    }
    let rows: Vec<Row> = query
        .select(Row::as_select())
        .order(access_key::id)
        .limit(limit)
        .load(&mut tx.connection())
        .await?;
    rows.into_iter().map(Row::key).collect()
}

/// One key.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &Tx<'_>, id: Uuid) -> Result<AccessKey> {
    let row: Option<Row> = access_key::table
        .filter(
            access_key::org_id
                .eq(tx.org_id())
                .and(access_key::id.eq(id)),
        )
        .select(Row::as_select())
        .first(&mut tx.connection())
        .await
        .optional()?;
    row.ok_or(Error::NotFound { what: "key" })?.key()
}

/// Makes a key of a depot system and answers with it and with the secret, which is kept nowhere. Lock the organisation's
/// scope.
///
/// # Errors
/// [`Error::Invalid`]; [`Error::Conflict`] for an id that is taken and for one key too many.
pub async fn create(tx: &mut Write<'_>, new: &NewAccessKey) -> Result<(AccessKey, String)> {
    let person_id = new.person_id;
    fields::line("name", &new.name, 1..=200)?;
    let expires_at = fields::instant("expires_at", new.expires_at)?;
    let created_at = clock::now();
    let latest = created_at + LIFE_MAX;
    if expires_at <= created_at || expires_at > latest {
        return Err(Error::invalid(
            "expires_at",
            format!("must be ahead, and at {latest} at the latest: make another key by then"),
        ));
    }
    match person::find(tx, person_id).await {
        Ok(person) if person.role == Role::DepotSystem => {}
        Ok(person) => {
            return Err(Error::invalid(
                "person_id",
                format!(
                    "names a {}, who signs in; create a person with the role depot system for the program",
                    person.role
                ),
            ));
        }
        Err(Error::NotFound { .. }) => {
            return Err(Error::invalid("person_id", "names nobody"));
        }
        Err(error) => return Err(error),
    }
    let live: i64 = access_key::table
        .filter(access_key::org_id.eq(tx.org_id()))
        .filter(access_key::person_id.eq(person_id))
        .filter(
            access_key::revoked_at
                .is_null()
                .and(access_key::expires_at.gt(diesel::dsl::now)),
        )
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if live >= LIVE_MAX {
        return Err(Error::conflict(
            "",
            format!("{LIVE_MAX} keys of this depot system live already; revoke one first"),
        ));
    }
    let secret = format!(
        "{PREFIX}{}",
        URL_SAFE_NO_PAD.encode(rand::random::<[u8; 32]>())
    );
    let key = AccessKey {
        id: fields::id(new.id)?,
        person_id,
        name: new.name.clone(),
        may_write: new.may_write.clone(),
        created_at,
        created_by: tx.person_id()?,
        expires_at,
        last_used_at: None,
        revoked_at: None,
        revoked_by: None,
        rev: 1,
    };
    let may_write = key.may_write.iter().map(crate::json::word);
    let row = (
        access_key::org_id.eq(tx.org_id()),
        access_key::id.eq(key.id),
        access_key::person_id.eq(person_id),
        access_key::name.eq(&key.name),
        access_key::key_hash.eq(digest(&secret).to_vec()),
        access_key::may_write.eq(may_write.collect::<Result<Vec<String>>>()?),
        access_key::created_at.eq(created_at.to_diesel()),
        access_key::created_by.eq(key.created_by),
        access_key::expires_at.eq(expires_at.to_diesel()),
    );
    diesel::insert_into(access_key::table)
        .values(row)
        .execute(&mut tx.connection())
        .await?;
    tx.audit(tx.org_id(), "create", KIND, key.id, json(&key)?);
    Ok((key, secret))
}

/// Ends a key: within seconds it opens nothing. Lock the organisation's scope.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Conflict`] for one that was ended.
pub async fn revoke(tx: &mut Write<'_>, id: Uuid) -> Result<AccessKey> {
    let mut key = find(tx, id).await?;
    if let Some(at) = key.revoked_at {
        return Err(Error::conflict("", format!("the key was revoked at {at}")));
    }
    key.revoked_at = Some(clock::now());
    key.revoked_by = Some(tx.person_id()?);
    key.rev += 1;
    diesel::update(access_key::table.find((tx.org_id(), id)))
        .set((
            access_key::revoked_at.eq(NullableTimestamp::from(key.revoked_at)),
            access_key::revoked_by.eq(key.revoked_by),
            access_key::rev.eq(key.rev),
        ))
        .execute(&mut tx.connection())
        .await?;
    tx.audit(tx.org_id(), "revoke", KIND, id, json(&key)?);
    Ok(key)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Shown {
    #[diesel(sql_type = SqlUuid)]
    org_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    person_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Array<Text>)]
    may_write: Vec<String>,
}

/// Whose key this is, if it lives; that it was shown is noted, at most once a minute. Whether the depot system may still
/// come in is [`person::standing`]'s to say.
///
/// # Errors
/// Those of the database.
pub async fn holder(database: &Database, secret: &str) -> Result<Option<Holder>> {
    let door = database.door().await?;
    let shown: Option<Shown> = prepared(
        diesel::sql_query(
            "with noted as (
                 update access_key set last_used_at = now()
                 where key_hash = $1 and revoked_at is null and expires_at > now()
                   and (last_used_at is null or last_used_at < now() - interval '1 minute')
             )
             select org_id, person_id, id, may_write from access_key
             where key_hash = $1 and revoked_at is null and expires_at > now()",
        )
        .bind::<Binary, _>(digest(secret).to_vec()),
    )
    .get_result(&mut &door.postgres)
    .await
    .optional()?;
    let holder = shown.map(|shown| {
        let may_write = shown.may_write.into_iter().map(of_word);
        Ok(Holder {
            org_id: shown.org_id,
            person_id: shown.person_id,
            key_id: shown.id,
            may_write: may_write.collect::<Result<_>>()?,
        })
    });
    holder.transpose()
}

/// What a secret is kept as: it is random enough that a quick hash hides it.
pub fn digest(secret: &str) -> [u8; 32] {
    Sha256::digest(secret).into()
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = access_key, check_for_backend(Pg))]
struct Row {
    id: Uuid,
    person_id: Uuid,
    name: String,
    may_write: Vec<String>,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    created_at: Timestamp,
    created_by: Uuid,
    #[diesel(deserialize_as = jiff_diesel::Timestamp)]
    expires_at: Timestamp,
    #[diesel(deserialize_as = NullableTimestamp)]
    last_used_at: Option<Timestamp>,
    #[diesel(deserialize_as = NullableTimestamp)]
    revoked_at: Option<Timestamp>,
    revoked_by: Option<Uuid>,
    rev: i64,
}

impl Row {
    fn key(self) -> Result<AccessKey> {
        Ok(AccessKey {
            id: self.id,
            person_id: self.person_id,
            name: self.name,
            may_write: self
                .may_write
                .into_iter()
                .map(of_word)
                .collect::<Result<_>>()?,
            created_at: self.created_at,
            created_by: self.created_by,
            expires_at: self.expires_at,
            last_used_at: self.last_used_at,
            revoked_at: self.revoked_at,
            revoked_by: self.revoked_by,
            rev: self.rev,
        })
    }
}
