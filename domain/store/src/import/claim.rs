//! Which import a worker works on: a lease, like a depot's mark.

use std::time::Duration;

use diesel::QueryableByName;
use diesel::sql_types::{Double, Integer, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use crate::{Database, Result, prepared};

/// So many attempts in a row that got nowhere halt an import.
const ATTEMPTS_MAX: i32 = 8;
/// The longest pause between two attempts, in seconds. Pauses double from one second.
const BACKOFF_MAX_S: f64 = 600.0;
/// How long an import rests, in seconds, that was given back because the database was in trouble.
const REST_S: f64 = 2.0;
/// What is said of an import that eight attempts have not got on.
const GIVEN_UP: &str = "it failed eight times in a row for a reason that is not in the table; what was applied stands. \
                        Whoever runs this installation finds the reason in the log; apply it again then";

/// An import that a worker has taken for a while.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
pub struct Claim {
    /// The organisation.
    #[diesel(sql_type = SqlUuid)]
    pub org_id: Uuid,
    /// The import.
    #[diesel(sql_type = SqlUuid)]
    pub id: Uuid,
    /// Proof that it is this worker who holds it.
    #[diesel(sql_type = SqlUuid)]
    pub lease_token: Uuid,
    /// Attempts in a row that got nowhere, with this one.
    #[diesel(sql_type = Integer)]
    pub attempts: i32,
}

/// Takes the import that has waited longest, for `lease`. A claim is charged when it is made, as a mark's is: an import
/// that takes its worker down with it is counted, too; whatever gets on clears the count.
///
/// # Errors
/// Those of the database.
pub async fn claim(database: &Database, lease: Duration) -> Result<Option<Claim>> {
    let clock = database.clock().await?;
    let mut claims: Vec<Claim> = prepared(
        diesel::sql_query(
            "with candidate as (
                 select org_id, id from import
                 where state in ('checking', 'applying') and (leased_until is null or leased_until <= now())
                   and (retry_at is null or retry_at <= now())
                 order by changed_at limit 1 for no key update skip locked
             )
             update import i set attempts = i.attempts + 1,
                 retry_at = now() + make_interval(secs => least(power(2, i.attempts), $2)),
                 lease_token = gen_random_uuid(), leased_until = now() + make_interval(secs => $1)
             from candidate c where i.org_id = c.org_id and i.id = c.id
             returning i.org_id, i.id, i.lease_token, i.attempts",
        )
        .bind::<Double, _>(lease.as_secs_f64())
        .bind::<Double, _>(BACKOFF_MAX_S),
    )
    .load(&mut &clock.postgres)
    .await?;
    Ok(claims.pop())
}

/// Gives back an import that has got on: others have their turn.
///
/// # Errors
/// Those of the database.
pub async fn release(database: &Database, claim: &Claim) -> Result<()> {
    give_back(database, claim, None).await
}

/// Gives it back because the database was in trouble; that is not held against it.
///
/// # Errors
/// Those of the database.
pub async fn rest(database: &Database, claim: &Claim, trouble: &str) -> Result<()> {
    give_back(database, claim, Some(trouble)).await
}

async fn give_back(database: &Database, claim: &Claim, trouble: Option<&str>) -> Result<()> {
    let clock = database.clock().await?;
    prepared(
        diesel::sql_query(
            "update import set attempts = greatest(attempts - 1, 0), lease_token = null, leased_until = null,
                 changed_at = now(), last_error = coalesce($4, last_error),
                 retry_at = case when $4 is not null then now() + make_interval(secs => $5) end
             where org_id = $1 and id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<Nullable<Text>, _>(trouble.map(kept))
        .bind::<Double, _>(REST_S),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(())
}

/// Notes that an attempt failed and why; the last one halts the import.
///
/// # Errors
/// Those of the database.
pub async fn fail(database: &Database, claim: &Claim, error: &str) -> Result<()> {
    let clock = database.clock().await?;
    prepared(
        diesel::sql_query(
            "update import set last_error = $4, lease_token = null, leased_until = null, changed_at = now(),
                 state = case when attempts >= $5 then 'halted' else state end,
                 halted_because = case when attempts >= $5 then $6 end
             where org_id = $1 and id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<Text, _>(kept(error))
        .bind::<Integer, _>(ATTEMPTS_MAX)
        .bind::<Text, _>(GIVEN_UP),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(())
}

/// An error as it is kept: Postgres takes every character but NUL.
fn kept(error: &str) -> String {
    error.chars().filter(|c| *c != '\0').take(2_000).collect()
}
