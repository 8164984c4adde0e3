//! What has served its time goes: refresh tokens that have expired, answers kept for Idempotency-Keys, tombstones of the
//! feed, what was staged for imports. A database role of its own does it, whose policies (in the migrations) are what says how long each is kept.
//! Any number of workers may sweep at once, and one that dies has left nothing half done.

use diesel::QueryableByName;
use diesel::sql_types::{BigInt, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use uuid::Uuid;

use crate::database::Leased;
use crate::prepared::{prepared, statement};
use crate::{Database, Result};

/// What a sweep took away.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Swept {
    /// Refresh tokens.
    pub tokens: usize,
    /// Codes that phones were enrolled with, or were not.
    pub codes: usize,
    /// Answers kept for Idempotency-Keys.
    pub answers: usize,
    /// Tombstones of the feed.
    pub tombstones: usize,
    /// Rows of imports, as they came and as they were understood, and their faults.
    pub staged: usize,
    /// Imports of which nothing is left.
    pub imports: usize,
}

impl Swept {
    /// The most that was taken of any one kind: as much as was allowed means that there may be more.
    pub fn most(&self) -> usize {
        [
            self.tokens,
            self.codes,
            self.answers,
            self.tombstones,
            self.staged,
            self.imports,
        ]
        .into_iter()
        .max()
        .unwrap_or(0)
    }
}

/// Takes away at most `at_most` of each kind, the oldest first.
///
/// # Errors
/// Those of the database. What was taken away until then is gone.
pub async fn sweep(database: &Database, at_most: i64) -> Result<Swept> {
    let leased = Leased::new(database.sweep().await?);
    let connection = leased.get();
    let tokens = "delete from refresh_token where (org_id, id) in (
                      select org_id, id from refresh_token where expires_at <= now() order by expires_at limit $1)";
    let codes = "delete from device_code where (org_id, id) in (
                     select org_id, id from device_code order by expires_at limit $1)";
    let answers = "delete from idempotency where (org_id, person_id, key) in (
                       select org_id, person_id, key from idempotency order by created_at limit $1)";
    let rows = "delete from import_row where (org_id, import_id, row) in (
                    select org_id, import_id, row from import_row where (org_id, import_id) in (
                        select org_id, id from import order by created_at limit 100) limit $1)";
    let items = "delete from import_item where (org_id, import_id, place) in (
                     select org_id, import_id, place from import_item where (org_id, import_id) in (
                         select org_id, id from import order by created_at limit 100) limit $1)";
    let faults = "delete from import_fault where (org_id, import_id, row, place) in (
                      select org_id, import_id, row, place from import_fault where (org_id, import_id) in (
                          select org_id, id from import order by created_at limit 100) limit $1)";
    let imports = "delete from import where (org_id, id) in (
                       select org_id, id from import i where not exists (
                           select from import_row r where r.org_id = i.org_id and r.import_id = i.id)
                       and not exists (select from import_item r where r.org_id = i.org_id and r.import_id = i.id)
                       and not exists (select from import_fault r where r.org_id = i.org_id and r.import_id = i.id)
                       order by created_at limit $1)";
    let staged = [
        delete(connection, rows, at_most).await?,
        delete(connection, items, at_most).await?,
        delete(connection, faults, at_most).await?,
    ];
    let swept = Swept {
        staged: staged.into_iter().max().unwrap_or(0),
        imports: delete(connection, imports, at_most).await?,
        tokens: delete(connection, tokens, at_most).await?,
        codes: delete(connection, codes, at_most).await?,
        answers: delete(connection, answers, at_most).await?,
        tombstones: tombstones(connection, at_most).await?,
    };
    leased.give_back();
    Ok(swept)
}

async fn delete(connection: &AsyncPgConnection, sql: &'static str, at_most: i64) -> Result<usize> {
    let oldest = prepared(diesel::sql_query(sql).bind::<BigInt, _>(at_most));
    Ok(oldest.execute(&mut { connection }).await?)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Scope {
    #[diesel(sql_type = SqlUuid)]
    org_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    scope_id: Uuid,
}

/// Scope by scope, each in a transaction of its own that locks it first, as every writer does: a tombstone that is
/// about to live again is waited for. A reader whose cursor is below the new floor may lack what is gone now, and reads
/// the scope anew.
async fn tombstones(connection: &AsyncPgConnection, at_most: i64) -> Result<usize> {
    let scopes: Vec<Scope> = prepared(
        diesel::sql_query(
            "select distinct org_id, scope_id from (
                 select org_id, scope_id from feed_entry where deleted order by at limit $1
             ) oldest order by org_id, scope_id",
        )
        .bind::<BigInt, _>(at_most),
    )
    .load(&mut { connection })
    .await?;
    let mut gone = 0;
    for scope in scopes {
        let lock = prepared(
            diesel::sql_query("select scope_id from feed_scope where org_id = $1 and scope_id = $2 for no key update")
                .bind::<SqlUuid, _>(scope.org_id)
                .bind::<SqlUuid, _>(scope.scope_id),
        );
        let raise = prepared(
            diesel::sql_query(
                "with gone as (
                     delete from feed_entry where org_id = $1 and scope_id = $2 and deleted and (kind, object_id) in (
                         select kind, object_id from feed_entry where org_id = $1 and scope_id = $2 and deleted
                         order by seq limit $3)
                     returning seq
                 ), raised as (
                     update feed_scope set floor = greatest(floor, (select max(seq) from gone))
                     where org_id = $1 and scope_id = $2
                 )
                 select count(*) as count from gone",
            )
            .bind::<SqlUuid, _>(scope.org_id)
            .bind::<SqlUuid, _>(scope.scope_id)
            .bind::<BigInt, _>(at_most),
        );
        let (begun, locked, raised, committed) = futures::join!(
            statement("begin").execute(&mut { connection }),
            lock.execute(&mut { connection }),
            raise.get_result::<Count>(&mut { connection }),
            statement("commit").execute(&mut { connection }),
        );
        begun?;
        locked?;
        gone += raised?.count as usize;
        committed?;
    }
    Ok(gone)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Count {
    #[diesel(sql_type = BigInt)]
    count: i64,
}
