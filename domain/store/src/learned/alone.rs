//! One worker learns of an organisation at a time.

use diesel::QueryableByName;
use diesel::sql_types::{Bool, Text};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use crate::prepared::statement;
use crate::{Database, Result, prepared};

#[derive(QueryableByName)]
struct Locked {
    #[diesel(sql_type = Bool)]
    locked: bool,
}

/// Has `work` done unless another worker is learning of the organisation: then none. It spares the work of two; that
/// nothing is kept twice is for [`add`](super::add).
///
/// The lock is of a connection that is held for it, since the work is longer than a transaction may be. Whoever dies lets go
/// of it.
///
/// # Errors
/// Those of the work, and of the database.
pub async fn alone<T>(
    database: &Database,
    org_id: Uuid,
    work: impl Future<Output = Result<T>>,
) -> Result<Option<T>> {
    let held = database.apart().await?;
    let lock = prepared(
        diesel::sql_query("select pg_try_advisory_lock(hashtextextended($1, 0)) as locked")
            .bind::<Text, _>(format!("learn of {org_id}")),
    );
    let lock: Locked = lock.get_result(&mut &held.postgres).await?;
    if !lock.locked {
        return Ok(None);
    }
    let done = work.await;
    // Postgres would see to it, but not before it sees that the connection is closed.
    statement("select pg_advisory_unlock_all()")
        .execute(&mut &held.postgres)
        .await?;
    done.map(Some)
}
