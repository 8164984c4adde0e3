//! The one way to write.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;

use diesel::sql_types::{Array, BigInt, Bool, Jsonb, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde::Serialize;
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::database::{Leased, open};
use crate::prepared::{prepared, statement};
use crate::{Database, Error, Result, Tenant, Tx};

/// The largest document, in bytes.
pub const DOCUMENT_BYTES_MAX: usize = 64 * 1024;
/// The most documents one commit may publish in one scope.
pub const DOCUMENTS_MAX: usize = 500;
/// The most bytes of documents one commit may publish in one scope.
pub const COMMIT_BYTES_MAX: usize = 1024 * 1024;
/// How often a commit that lost a race is tried again.
const RETRIES: u32 = 3;

/// Writes facts and what readers will see of them in one transaction.
///
/// First of all the scopes touched are locked, in one global order, so that two writers never wait for each other in
/// a ring; [`Error::NotFound`] when one is unknown. Then `work` writes its facts and says what to publish, mark and
/// audit. Last, all entries of a scope get ONE new sequence number, its head plus one: heads are dense and a page of
/// the feed can hold whole commits.
///
/// Why a counter row and not a sequence: numbers of a sequence become visible out of order, and a reader who
/// remembers the last one it saw loses rows (a quarter with 2 writers, half with 16). A horizon of transaction ids
/// loses none, but one unrelated slow write stalls every reader, and it does not survive dump and restore. The
/// counter row is locked until commit, so a number is visible exactly when all smaller ones are.
///
/// A lost race (serialisation, deadlock) is tried again three times, so `work` may run more than once and must do
/// nothing but read and write through its transaction. With `Err` nothing is stored. (`Clone` says that it can run
/// again; `AsyncFn` would say the same, but its futures are not `Send` when they borrow.)
pub async fn write<T>(
    database: &Database,
    tenant: &Tenant,
    scopes: &[Uuid],
    work: impl AsyncFnOnce(&mut Write<'_>) -> Result<T> + Clone,
) -> Result<T> {
    let mut tried = 0;
    loop {
        match once(database, tenant, scopes, work.clone()).await {
            Err(Error::Contended) if tried < RETRIES => tried += 1,
            outcome => return outcome,
        }
    }
}

async fn once<T>(
    database: &Database,
    tenant: &Tenant,
    scopes: &[Uuid],
    work: impl AsyncFnOnce(&mut Write<'_>) -> Result<T>,
) -> Result<T> {
    let leased = Leased::new(database.app().await?);
    let tx = Tx {
        connection: leased.get(),
        tenant,
    };
    let (opened, locked) = futures::join!(
        open(
            tx.connection,
            "begin isolation level read committed",
            tenant.org_id
        ),
        lock(tx, scopes)
    );
    let mut write = Write::new(tx, scopes);
    let done = match opened.and(locked) {
        Ok(()) => work(&mut write).await,
        Err(error) => Err(error),
    };
    let done = match done {
        Ok(value) => write.commit().await.map(|()| value),
        Err(error) => Err(error),
    };
    if done.is_err() {
        // A failed commit has rolled back already; then this is a warning in Postgres' log and no more.
        statement("rollback").execute(&mut tx.connection()).await?;
    }
    leased.give_back();
    done
}

async fn lock(tx: Tx<'_>, scopes: &[Uuid]) -> Result<()> {
    let wanted: BTreeSet<Uuid> = scopes.iter().copied().collect();
    let locked = prepared(
        diesel::sql_query(
            "select scope_id from feed_scope where org_id = $1 and scope_id = any($2) order by scope_id for no key update",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(wanted.iter().copied().collect::<Vec<_>>()),
    )
    .execute(&mut tx.connection())
    .await?;
    if locked != wanted.len() {
        return Err(Error::NotFound { what: "depot" });
    }
    Ok(())
}

struct Entry {
    rev: i64,
    deleted: bool,
    digest: i64,
    doc: String,
}

struct Audit {
    action: &'static str,
    kind: &'static str,
    object_id: Uuid,
    scope_id: Uuid,
    detail: serde_json::Value,
}

/// A write under way: a [`Tx`] whose scopes are locked, and what will be published at its commit.
pub struct Write<'a> {
    tx: Tx<'a>,
    scopes: BTreeSet<Uuid>,
    entries: BTreeMap<(Uuid, &'static str, Uuid), Entry>,
    marks: BTreeSet<Uuid>,
    audit: Vec<Audit>,
}

impl<'a> Deref for Write<'a> {
    type Target = Tx<'a>;

    fn deref(&self) -> &Tx<'a> {
        &self.tx
    }
}

impl<'a> Write<'a> {
    fn new(tx: Tx<'a>, scopes: &[Uuid]) -> Self {
        Write {
            tx,
            scopes: scopes.iter().copied().collect(),
            entries: BTreeMap::new(),
            marks: BTreeSet::new(),
            audit: Vec::new(),
        }
    }

    /// Publishes an object's newest state, as a client will read it. Published twice in one commit, the last counts.
    ///
    /// Errors: a scope that this write has not locked, a document over 64 KiB.
    pub fn publish(
        &mut self,
        scope_id: Uuid,
        kind: &'static str,
        object_id: Uuid,
        rev: i64,
        document: &impl Serialize,
    ) -> Result<()> {
        let doc = serde_json::to_string(document).map_err(Error::internal)?;
        self.enter(scope_id, kind, object_id, rev, false, doc)
    }

    /// Publishes that an object is no more: a tombstone.
    pub fn remove(
        &mut self,
        scope_id: Uuid,
        kind: &'static str,
        object_id: Uuid,
        rev: i64,
    ) -> Result<()> {
        self.enter(scope_id, kind, object_id, rev, true, "{}".to_owned())
    }

    /// Publishes in an object's old scope that it lives in another one now. Which one is not told: a reader granted
    /// both finds it there.
    pub fn moved(
        &mut self,
        old_scope_id: Uuid,
        kind: &'static str,
        object_id: Uuid,
        rev: i64,
    ) -> Result<()> {
        self.enter(
            old_scope_id,
            kind,
            object_id,
            rev,
            true,
            r#"{"moved":true}"#.to_owned(),
        )
    }

    /// Opens the scope of a depot that this write creates, and locks it: it can be published to.
    ///
    /// # Errors
    /// [`Error::Conflict`] where it exists.
    pub async fn open_scope(&mut self, scope_id: Uuid) -> Result<()> {
        prepared(
            diesel::sql_query("insert into feed_scope (org_id, scope_id) values ($1, $2)")
                .bind::<SqlUuid, _>(self.org_id())
                .bind::<SqlUuid, _>(scope_id),
        )
        .execute(&mut self.tx.connection())
        .await?;
        self.scopes.insert(scope_id);
        Ok(())
    }

    /// That this write has locked a scope found only now. An object may have moved since its scopes were looked up.
    ///
    /// # Errors
    /// [`Error::Moved`].
    pub(crate) fn must_hold(&self, scope_id: Uuid) -> Result<()> {
        if self.scopes.contains(&scope_id) {
            Ok(())
        } else {
            Err(Error::Moved)
        }
    }

    /// Has a depot recomputed, soon.
    pub fn mark(&mut self, depot_id: Uuid) {
        self.marks.insert(depot_id);
    }

    /// Notes who did what; the person, the request and the session are the tenant's.
    pub fn audit(
        &mut self,
        scope_id: Uuid,
        action: &'static str,
        kind: &'static str,
        object_id: Uuid,
        detail: serde_json::Value,
    ) {
        self.audit.push(Audit {
            action,
            kind,
            object_id,
            scope_id,
            detail,
        });
    }

    fn enter(
        &mut self,
        scope_id: Uuid,
        kind: &'static str,
        object_id: Uuid,
        rev: i64,
        deleted: bool,
        doc: String,
    ) -> Result<()> {
        if !self.scopes.contains(&scope_id) {
            return Err(Error::internal(format!(
                "{kind} {object_id} is published in scope {scope_id}, which is not locked"
            )));
        }
        if doc.len() > DOCUMENT_BYTES_MAX {
            return Err(Error::invalid(
                "",
                format!(
                    "makes a {kind} of {} bytes; at most {DOCUMENT_BYTES_MAX} can be kept",
                    doc.len()
                ),
            ));
        }
        let digest = check(kind, object_id, rev, &doc);
        self.entries.insert(
            (scope_id, kind, object_id),
            Entry {
                rev,
                deleted,
                digest,
                doc,
            },
        );
        Ok(())
    }
}

/// The check of a document: the first 8 bytes of SHA-256("kind:id:rev:" + document), big-endian. Shown as 16 hex
/// digits ([`hex`]), stored as a signed integer because that is what Postgres can XOR.
pub fn check(kind: &str, object_id: Uuid, rev: i64, doc: &str) -> i64 {
    let mut hash = Sha256::new();
    hash.update(format!("{kind}:{object_id}:{rev}:"));
    hash.update(doc);
    let bytes: [u8; 8] = hash.finalize()[..8]
        .try_into()
        .expect("SHA-256 has 32 bytes");
    i64::from_be_bytes(bytes)
}

/// A check or a digest as readers see it.
pub fn hex(digest: i64) -> String {
    format!("{:016x}", digest as u64)
}

impl Write<'_> {
    /// Sends everything that is left to do and the commit at once. Should one statement fail, Postgres turns the
    /// commit into a rollback, and the statement's own error tells.
    async fn commit(self) -> Result<()> {
        self.within_limits()?;
        let (entered, marked, audited, committed) = futures::join!(
            self.store_entries(),
            self.store_marks(),
            self.store_audit(),
            statement("commit").execute(&mut self.tx.connection()),
        );
        entered?;
        marked?;
        audited?;
        committed?;
        Ok(())
    }

    fn within_limits(&self) -> Result<()> {
        for scope_id in &self.scopes {
            let documents = || {
                self.entries
                    .iter()
                    .filter(|((scope, ..), _)| scope == scope_id)
                    .map(|(_, entry)| entry.doc.len())
            };
            let (count, bytes) = (documents().count(), documents().sum::<usize>());
            if count > DOCUMENTS_MAX || bytes > COMMIT_BYTES_MAX {
                return Err(Error::invalid(
                    "",
                    format!(
                        "changes {count} documents of {bytes} bytes at once; at most {DOCUMENTS_MAX} and \
                         {COMMIT_BYTES_MAX} bytes go into one commit, so split it"
                    ),
                ));
            }
        }
        Ok(())
    }

    /// One statement for all entries of all scopes, whose heads are locked: the entries go to head plus one, then the
    /// heads follow. Digests change by difference: what the replaced live entries had is XORed out, what the new live
    /// ones have is XORed in. What was replaced is not looked up but comes back from the insert, which finds it by its
    /// key; a join is planned by statistics, and on a young database those are of an empty table.
    async fn store_entries(&self) -> Result<()> {
        if self.entries.is_empty() {
            return Ok(());
        }
        let keys = || self.entries.keys();
        let entries = || self.entries.values();
        prepared(
            diesel::sql_query(
                "with written as (
                     insert into feed_entry as old (org_id, scope_id, kind, object_id, seq, rev, deleted, digest, doc)
                     select $1, f.scope_id, f.kind, f.object_id, s.head + 1, f.rev, f.deleted, f.digest, f.doc
                     from unnest($2::uuid[], $3::text[], $4::uuid[], $5::bigint[], $6::boolean[], $7::bigint[], $8::text[])
                         as f (scope_id, kind, object_id, rev, deleted, digest, doc)
                     join feed_scope s on s.org_id = $1 and s.scope_id = f.scope_id
                     on conflict (org_id, scope_id, kind, object_id) do update set
                         seq = excluded.seq, rev = excluded.rev, deleted = excluded.deleted, digest = excluded.digest,
                         doc = excluded.doc, at = now(), replaced = case when old.deleted then 0 else old.digest end
                     returning scope_id, replaced # case when deleted then 0 else digest end as digest
                 )
                 update feed_scope s set head = s.head + 1, digest = s.digest # d.digest
                 from (select scope_id, bit_xor(digest) as digest from written group by scope_id) d
                 where s.org_id = $1 and s.scope_id = d.scope_id",
            )
            .bind::<SqlUuid, _>(self.org_id())
            .bind::<Array<SqlUuid>, _>(keys().map(|key| key.0).collect::<Vec<_>>())
            .bind::<Array<Text>, _>(keys().map(|key| key.1).collect::<Vec<_>>())
            .bind::<Array<SqlUuid>, _>(keys().map(|key| key.2).collect::<Vec<_>>())
            .bind::<Array<BigInt>, _>(entries().map(|entry| entry.rev).collect::<Vec<_>>())
            .bind::<Array<Bool>, _>(entries().map(|entry| entry.deleted).collect::<Vec<_>>())
            .bind::<Array<BigInt>, _>(entries().map(|entry| entry.digest).collect::<Vec<_>>())
            .bind::<Array<Text>, _>(entries().map(|entry| entry.doc.as_str()).collect::<Vec<_>>()),
        )
        .execute(&mut self.tx.connection())
        .await?;
        Ok(())
    }

    /// Due now, and one generation on, so that a recomputation that is under way does not count as done.
    async fn store_marks(&self) -> Result<()> {
        if self.marks.is_empty() {
            return Ok(());
        }
        prepared(
            diesel::sql_query(
                "insert into mark (org_id, depot_id) select $1, depot_id from unnest($2::uuid[]) as m (depot_id) order by depot_id
                 on conflict (org_id, depot_id) do update set due_at = least(mark.due_at, now()), gen = mark.gen + 1",
            )
            .bind::<SqlUuid, _>(self.org_id())
            .bind::<Array<SqlUuid>, _>(self.marks.iter().copied().collect::<Vec<_>>()),
        )
        .execute(&mut self.tx.connection())
        .await?;
        Ok(())
    }

    async fn store_audit(&self) -> Result<()> {
        if self.audit.is_empty() {
            return Ok(());
        }
        let rows = || self.audit.iter();
        prepared(
            diesel::sql_query(
                "insert into audit (org_id, id, person_id, request_id, session, action, object_kind, object_id, scope_id, detail)
                 select $1, id, $2, $3, $10, action, object_kind, object_id, scope_id, detail
                 from unnest($4::uuid[], $5::text[], $6::text[], $7::uuid[], $8::uuid[], $9::jsonb[])
                     as a (id, action, object_kind, object_id, scope_id, detail)",
            )
            .bind::<SqlUuid, _>(self.org_id())
            .bind::<Nullable<SqlUuid>, _>(self.tenant().person_id)
            .bind::<Nullable<SqlUuid>, _>(self.tenant().request_id)
            .bind::<Array<SqlUuid>, _>(rows().map(|_| Uuid::now_v7()).collect::<Vec<_>>())
            .bind::<Array<Text>, _>(rows().map(|row| row.action).collect::<Vec<_>>())
            .bind::<Array<Text>, _>(rows().map(|row| row.kind).collect::<Vec<_>>())
            .bind::<Array<SqlUuid>, _>(rows().map(|row| row.object_id).collect::<Vec<_>>())
            .bind::<Array<SqlUuid>, _>(rows().map(|row| row.scope_id).collect::<Vec<_>>())
            .bind::<Array<Jsonb>, _>(rows().map(|row| &row.detail).collect::<Vec<_>>())
            .bind::<Nullable<SqlUuid>, _>(self.tenant().session),
        )
        .execute(&mut self.tx.connection())
        .await?;
        Ok(())
    }
}
