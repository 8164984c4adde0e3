//! What readers get: everything of their scopes since they last asked.

use std::collections::{BTreeMap, BTreeSet};

use diesel::prelude::*;
use diesel::sql_types::{Array, BigInt, Bool, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use uuid::Uuid;

use super::write::{DOCUMENTS_MAX, hex};
use crate::{Error, Result, Tx, prepared};

/// The most entries of one page.
pub const LIMIT_MAX: u32 = 2_000;
/// Entries of a page when nothing is said.
pub const LIMIT_DEFAULT: u32 = 500;
/// The most scopes a reader may name.
pub const SCOPES_MAX: usize = 10_000;
/// A page ends with the commit that would take its documents beyond this; the first commit always goes out.
const PAGE_BYTES_MAX: i64 = 4 * 1024 * 1024;

/// What a reader has.
#[derive(Debug, Clone, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct Pull {
    /// The epoch its cursors are from, as the last page told it; absent the first time.
    #[serde(default)]
    pub epoch: Option<String>,
    /// The scopes it has, each with how far. A granted scope that is not named is sent from its beginning.
    #[serde(default)]
    pub scopes: Vec<Cursor>,
    /// The most entries of this page, 1 to 2,000; 500 if absent. A single commit of more is sent whole.
    #[serde(default)]
    #[cfg_attr(feature = "schema", schema(minimum = 1, maximum = 2_000))]
    pub limit: Option<u32>,
}

/// How far a reader has a scope.
#[derive(Debug, Clone, Copy, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FeedCursor))]
#[serde(deny_unknown_fields)]
pub struct Cursor {
    /// The scope: a depot's id, or the organisation's.
    pub scope_id: Uuid,
    /// The `cursor` of the last page; 0 for nothing. Negative, it is that of a reader who is still on its first way
    /// through the scope.
    pub cursor: i64,
}

/// One page.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FeedPage))]
pub struct Page {
    /// To be sent along with the cursors. It changes when the database is not the one they are from: after a restored
    /// backup, above all.
    pub epoch: String,
    /// Every scope that is granted.
    pub scopes: Vec<Scope>,
    /// Scopes the reader named and may not, or no longer, see. It drops what it holds of them.
    pub revoked: Vec<Uuid>,
    /// Whether some scope has more to send: ask again at once.
    pub more: bool,
}

/// A scope's part of a page.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FeedScope))]
pub struct Scope {
    /// The scope: a depot's id, or the organisation's.
    pub scope_id: Uuid,
    /// What it is.
    pub kind: ScopeKind,
    /// The depot's or the organisation's name.
    pub name: String,
    /// Whether the reader did not name it.
    pub new: bool,
    /// Whether the reader's cursor is worth nothing: it drops what it holds of this scope and takes what comes.
    pub reset: bool,
    /// The number of the scope's last commit.
    pub head: i64,
    /// The XOR of the checks of the scope's live objects at that commit, 16 hex digits. Once `cursor` = `head`, a
    /// reader whose own differs has lost something: it reads the scope again from cursor 0.
    pub digest: String,
    /// How far the reader is with this page, to be sent back as it is. Negative on the first way through a scope from
    /// which old tombstones are gone: such a reader has never had what they took away.
    pub cursor: i64,
    /// Whether there is more to send of this scope.
    pub more: bool,
    /// In the order of their commits. A page holds whole commits.
    pub entries: Vec<Entry>,
    /// Up to this commit tombstones may be gone.
    #[serde(skip)]
    floor: i64,
}

/// What a scope is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum ScopeKind {
    /// One depot.
    Depot,
    /// What all depots of the organisation share.
    Organisation,
}

/// The newest state of one object.
#[derive(Debug, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = FeedEntry))]
pub struct Entry {
    /// What it is: `unit`, `inspection`, `unit-state`...
    pub kind: String,
    /// Which.
    pub id: Uuid,
    /// The commit that wrote this state.
    pub seq: i64,
    /// The object's version.
    pub rev: i64,
    /// Whether the object is gone from this scope; `doc` says `{"moved":true}` when it lives in another.
    pub deleted: bool,
    /// The first 8 bytes of SHA-256 of "kind:id:rev:" followed by `doc` to the byte, 16 hex digits.
    pub check: String,
    /// The object as readers get it, byte for byte as it was written.
    #[cfg_attr(feature = "schema", schema(value_type = Object))]
    pub doc: Box<RawValue>,
}

/// A scope and its last commit.
#[derive(Debug, Clone, Serialize, QueryableByName)]
pub struct Head {
    /// The scope.
    #[diesel(sql_type = SqlUuid)]
    pub scope_id: Uuid,
    /// The number of its last commit.
    #[diesel(sql_type = BigInt)]
    pub head: i64,
    #[serde(skip)]
    #[diesel(sql_type = BigInt)]
    digest: i64,
    #[serde(skip)]
    #[diesel(sql_type = BigInt)]
    floor: i64,
    #[serde(skip)]
    #[diesel(sql_type = Text)]
    name: String,
}

/// The scopes that the tenant may read, with their heads: the organisation's own, and those of the depots granted.
///
/// # Errors
/// Those of the database.
pub async fn heads(tx: &Tx<'_>) -> Result<Vec<Head>> {
    let heads = prepared(
        diesel::sql_query(
            "select s.scope_id, s.head, s.digest, s.floor, coalesce(d.name, o.name) as name
             from feed_scope s
             join organisation o on o.org_id = s.org_id
             left join depot d on d.org_id = s.org_id and d.id = s.scope_id
             where s.org_id = $1 and ($2::uuid[] is null or s.scope_id = $1 or s.scope_id = any($2))
             order by s.scope_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Nullable<Array<SqlUuid>>, _>(tx.tenant().depots.as_filter()),
    )
    .load(&mut tx.connection())
    .await?;
    Ok(heads)
}

#[derive(QueryableByName)]
struct Epoch {
    #[diesel(sql_type = Text)]
    epoch: String,
}

/// What cursors are valid against: the cluster, its timeline (another one after a failover or a recovery to a point
/// in time), the database, and a counter that an operator raises after restoring a backup some other way.
///
/// # Errors
/// Those of the database.
pub async fn epoch(tx: &Tx<'_>) -> Result<String> {
    let found: Epoch = prepared(diesel::sql_query(
        "select to_hex((select system_identifier from pg_control_system()))
             || '-' || substr(pg_walfile_name(pg_current_wal_lsn()), 1, 8)
             || '-' || (select oid from pg_database where datname = current_database())
             || '-' || (select counter from installation) as epoch",
    ))
    .get_result(&mut tx.connection())
    .await?;
    Ok(found.epoch)
}

/// One page of what the reader lacks. Run it within [`Database::read`](crate::Database::read): heads, digests and
/// entries are of one instant.
///
/// # Errors
/// [`Error::Invalid`] for a limit out of range, a scope named twice, cursors without an epoch.
pub async fn pull(tx: &Tx<'_>, pull: &Pull) -> Result<Page> {
    let limit = pull.limit.unwrap_or(LIMIT_DEFAULT);
    let asked = check(pull, limit)?;
    let (epoch, heads) = futures::try_join!(epoch(tx), heads(tx))?;
    let same_epoch = pull.epoch.as_ref().is_none_or(|known| *known == epoch);

    let granted: BTreeSet<Uuid> = heads.iter().map(|head| head.scope_id).collect();
    let revoked = asked
        .keys()
        .filter(|scope_id| !granted.contains(scope_id))
        .copied()
        .collect();
    let mut scopes: Vec<Scope> = heads
        .into_iter()
        .map(|head| {
            let cursor = asked.get(&head.scope_id).copied();
            let first_way = cursor.is_some_and(i64::is_negative);
            let from = cursor.map_or(0, i64::saturating_abs);
            let lacks_tombstones = from < head.floor && !first_way;
            let reset = from > 0 && (!same_epoch || from > head.head || lacks_tombstones);
            Scope {
                scope_id: head.scope_id,
                kind: if head.scope_id == tx.org_id() {
                    ScopeKind::Organisation
                } else {
                    ScopeKind::Depot
                },
                name: head.name,
                new: cursor.is_none(),
                reset,
                head: head.head,
                digest: hex(head.digest),
                cursor: if reset { 0 } else { from },
                more: false,
                entries: Vec::new(),
                floor: head.floor,
            }
        })
        .collect();
    fill(tx, &mut scopes, limit).await?;
    for scope in &mut scopes {
        scope.more = scope.cursor < scope.head;
        if scope.cursor < scope.floor {
            scope.cursor = -scope.cursor;
        }
    }
    let more = scopes.iter().any(|scope| scope.more);
    Ok(Page {
        epoch,
        scopes,
        revoked,
        more,
    })
}

fn check(pull: &Pull, limit: u32) -> Result<BTreeMap<Uuid, i64>> {
    if !(1..=LIMIT_MAX).contains(&limit) {
        return Err(Error::invalid(
            "limit",
            format!("must be from 1 to {LIMIT_MAX}; it is {limit}"),
        ));
    }
    if pull.scopes.len() > SCOPES_MAX {
        return Err(Error::invalid(
            "scopes",
            format!("must be at most {SCOPES_MAX}"),
        ));
    }
    let mut asked = BTreeMap::new();
    for (index, Cursor { scope_id, cursor }) in pull.scopes.iter().enumerate() {
        if *cursor != 0 && pull.epoch.is_none() {
            return Err(Error::invalid(
                "epoch",
                "is missing; send the one that came with the cursors",
            ));
        }
        if asked.insert(*scope_id, *cursor).is_some() {
            return Err(Error::invalid(
                format!("scopes[{index}].scope_id"),
                "is named twice; name each scope once",
            ));
        }
    }
    Ok(asked)
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = BigInt)]
    place: i64,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = SqlUuid)]
    object_id: Uuid,
    #[diesel(sql_type = BigInt)]
    seq: i64,
    #[diesel(sql_type = BigInt)]
    rev: i64,
    #[diesel(sql_type = Bool)]
    deleted: bool,
    #[diesel(sql_type = BigInt)]
    digest: i64,
    /// Absent beyond the bytes of a page.
    #[diesel(sql_type = Nullable<Text>)]
    doc: Option<String>,
}

/// Reads what the scopes lack, scope by scope and commit by commit, until the page is full, and moves their cursors.
async fn fill(tx: &Tx<'_>, scopes: &mut [Scope], limit: u32) -> Result<()> {
    let behind: Vec<usize> = (0..scopes.len())
        .filter(|&index| scopes[index].cursor < scopes[index].head)
        .collect();
    if behind.is_empty() {
        return Ok(());
    }
    // One row more than the longest commit, so that the first one is always whole.
    let rows_max = i64::from(limit).max(DOCUMENTS_MAX as i64) + 1;
    let rows: Vec<Row> = prepared(
        diesel::sql_query(
            "select place, kind, object_id, seq, rev, deleted, digest,
                 case when sum(octet_length(doc)) over (order by place, seq) <= $5
                     or dense_rank() over (order by place, seq) = 1 then doc end as doc
             from (
                 select place, e.* from unnest($2::uuid[], $3::bigint[]) with ordinality as wanted (scope_id, cursor, place)
                 cross join lateral (
                     select kind, object_id, seq, rev, deleted, digest, doc from feed_entry e
                     where e.org_id = $1 and e.scope_id = wanted.scope_id and e.seq > wanted.cursor
                         and (wanted.cursor > 0 or not e.deleted)
                     order by e.seq limit $4
                 ) e
                 order by place, seq limit $4
             ) page
             order by place, seq, kind, object_id",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(behind.iter().map(|&index| scopes[index].scope_id).collect::<Vec<_>>())
        .bind::<Array<BigInt>, _>(behind.iter().map(|&index| scopes[index].cursor).collect::<Vec<_>>())
        .bind::<BigInt, _>(rows_max)
        .bind::<BigInt, _>(PAGE_BYTES_MAX),
    )
    .load(&mut tx.connection())
    .await?;
    // The last commit of a full answer may lack rows.
    let doubtful = (rows.len() as i64 == rows_max)
        .then(|| rows.last().map(|row| (row.place, row.seq)))
        .flatten();
    let mut taken = 0;
    // The place of the first scope that was not read to its end.
    let mut cut = i64::MAX;
    let mut rows = rows.into_iter().peekable();
    while let Some(first) = rows.peek() {
        let (place, seq) = (first.place, first.seq);
        let commit: Vec<Row> =
            std::iter::from_fn(|| rows.next_if(|row| (row.place, row.seq) == (place, seq)))
                .collect();
        let full = taken > 0 && taken + commit.len() > limit as usize;
        if full || doubtful == Some((place, seq)) || commit.iter().any(|row| row.doc.is_none()) {
            cut = place;
            break;
        }
        taken += commit.len();
        let scope = &mut scopes[behind[place as usize - 1]];
        scope.cursor = seq;
        for row in commit {
            scope.entries.push(row.entry()?);
        }
    }
    for (place, &index) in (1..).zip(&behind) {
        if place < cut {
            scopes[index].cursor = scopes[index].head;
        }
    }
    Ok(())
}

impl Row {
    fn entry(self) -> Result<Entry> {
        Ok(Entry {
            kind: self.kind,
            id: self.object_id,
            seq: self.seq,
            rev: self.rev,
            deleted: self.deleted,
            check: hex(self.digest),
            doc: RawValue::from_string(self.doc.unwrap_or_default()).map_err(Error::internal)?,
        })
    }
}
