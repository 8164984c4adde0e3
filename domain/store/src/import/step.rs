//! The next piece of an import's work.

use std::time::Duration;

use diesel::QueryableByName;
use diesel::sql_types::{Binary, Integer, Jsonb, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use rimeyard_rules::table::row::Layout;
use rimeyard_rules::table::{Conventions, What};
use uuid::Uuid;

use super::{Claim, State, apply, check};
use crate::feed;
use crate::json::{of_json, of_word};
use crate::{Database, Error, Result, Role, Tenant, Tx, person, prepared};

/// What a step came to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// So many rows were checked or applied, and there is more to do.
    On(usize),
    /// There is nothing left for a worker to do.
    Done,
}

/// An import, as a worker needs it.
pub(super) struct Work {
    pub(super) claim: Claim,
    pub(super) lease: Duration,
    pub(super) what: What,
    pub(super) layout: Layout,
    pub(super) checked_to: i32,
    pub(super) applied_to: Vec<u8>,
    pub(super) fault_count: i32,
}

/// Does the next piece: checks a few thousand rows, or applies a few hundred objects, in one transaction that also moves
/// the import's cursor and renews the lease.
///
/// # Errors
/// [`Error::Stale`] when the lease is lost; those of the database.
pub async fn step(database: &Database, claim: &Claim, lease: Duration) -> Result<Step> {
    let house = Tenant::system(claim.org_id);
    let (row, tenant) = database
        .read(&house, async |tx| {
            let row = load(tx, claim.id).await?;
            let who = row.applied_by.unwrap_or(row.created_by);
            let tenant = person::acting(tx, who).await?;
            Ok((row, tenant))
        })
        .await?;
    let state: State = of_word(row.state)?;
    let what: What = of_word(row.what)?;
    let columns: Vec<_> = of_json(row.header)?;
    let conventions = Conventions {
        dates: row.dates.map(of_word).transpose()?,
        decimal: of_word(row.decimal_mark)?,
    };
    let work = Work {
        claim: claim.clone(),
        lease,
        what,
        layout: Layout::new(what, &columns, conventions),
        checked_to: row.checked_to,
        applied_to: row.applied_to,
        fault_count: row.fault_count,
    };
    let may = |tenant: &Tenant| {
        matches!(
            tenant.role,
            Role::Administrator | Role::DistrictManager | Role::DepotLead
        )
    };
    let Some(tenant) = tenant.filter(may) else {
        let because =
            "whoever asked for it may no longer bring tables; have someone apply it who may";
        return halt(database, &house, &work, because).await;
    };
    match state {
        State::Checking => check::chunk(database, &tenant, &work).await,
        State::Applying => apply::chunk(database, &tenant, &work).await,
        _ => Ok(Step::Done),
    }
}

async fn halt(database: &Database, house: &Tenant, work: &Work, because: &str) -> Result<Step> {
    feed::write(database, house, &[], async |tx| {
        halted(tx, work, because, 0).await
    })
    .await?;
    Ok(Step::Done)
}

/// Halts an import, within a transaction that may note why.
pub(super) async fn halted(tx: &Tx<'_>, work: &Work, because: &str, faults: usize) -> Result<()> {
    let halted = prepared(
        diesel::sql_query(
            "update import set state = 'halted', halted_because = $4, fault_count = fault_count + $5, changed_at = now(),
                 attempts = 0, retry_at = null, lease_token = null, leased_until = null
             where org_id = $1 and id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(work.claim.id)
        .bind::<SqlUuid, _>(work.claim.lease_token)
        .bind::<Text, _>(because)
        .bind::<Integer, _>(i32::try_from(faults).unwrap_or(i32::MAX)),
    )
    .execute(&mut tx.connection())
    .await?;
    if halted == 1 {
        Ok(())
    } else {
        Err(Error::Stale)
    }
}

async fn load(tx: &Tx<'_>, id: Uuid) -> Result<Row> {
    Ok(prepared(
        diesel::sql_query(
            "select what, state, dates, decimal_mark, header, created_by, applied_by, checked_to, applied_to,
                    fault_count
             from import where org_id = $1 and id = $2",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id),
    )
    .get_result(&mut tx.connection())
    .await?)
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Row {
    #[diesel(sql_type = Text)]
    what: String,
    #[diesel(sql_type = Text)]
    state: String,
    #[diesel(sql_type = Nullable<Text>)]
    dates: Option<String>,
    #[diesel(sql_type = Text)]
    decimal_mark: String,
    #[diesel(sql_type = Jsonb)]
    header: serde_json::Value,
    #[diesel(sql_type = SqlUuid)]
    created_by: Uuid,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    applied_by: Option<Uuid>,
    #[diesel(sql_type = Integer)]
    checked_to: i32,
    #[diesel(sql_type = Binary)]
    applied_to: Vec<u8>,
    #[diesel(sql_type = Integer)]
    fault_count: i32,
}
