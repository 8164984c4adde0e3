//! Marks: which depot is to be recomputed, and when. A dirty set and not a queue: one row per depot, whatever happened
//! to it. Any number of workers claim, renew, finish or fail; each step checks that the claim still stands.

use std::time::Duration;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Double, Integer, Nullable, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use uuid::Uuid;

use crate::feed::Write;
use crate::{Database, Error, Result, prepared};

/// So many attempts in a row that came to nothing park a depot.
pub const ATTEMPTS_MAX: i32 = 8;
/// A parked depot is tried so seldom, in seconds.
pub const PARKED_PAUSE_S: f64 = 3_600.0;
/// The longest pause before that, in seconds. Pauses double from one second.
const BACKOFF_MAX_S: f64 = 600.0;
/// How long a depot rests, in seconds, that was given back because the database was in trouble.
const REST_S: f64 = 2.0;
/// What is noted with a depot whose worker never said how it went.
const NEVER_ENDED: &str = "a worker took it and did not live to say what became of it";
/// What is kept of an error, in characters.
const ERROR_CHARS_MAX: usize = 2_000;

/// A depot that a worker has taken for a while.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
pub struct Claim {
    /// The organisation.
    #[diesel(sql_type = SqlUuid)]
    pub org_id: Uuid,
    /// The depot.
    #[diesel(sql_type = SqlUuid)]
    pub depot_id: Uuid,
    /// How often it had been marked when it was taken. Marked again, the result of this claim is out of date.
    #[diesel(sql_type = BigInt)]
    pub generation: i64,
    /// Proof that it is this worker who holds it.
    #[diesel(sql_type = SqlUuid)]
    pub lease_token: Uuid,
    /// Attempts in a row that came to nothing, with this one, which has not yet come to anything.
    #[diesel(sql_type = Integer)]
    pub attempts: i32,
    /// The instant at which it was found due. What is computed for the claim is what holds then: never earlier than
    /// the `valid_until` that made it due, whichever clock runs behind.
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    pub as_of: Timestamp,
}

/// What became of a claim that failed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Failed {
    /// It will be tried again after a pause.
    Later,
    /// It failed too often: it is tried every [`PARKED_PAUSE_S`], and at once after [`unpark`].
    Parked,
    /// Somebody else holds it by now; nothing was noted.
    LeaseLost,
}

/// How far the workers are behind, over all organisations.
#[derive(Debug, Clone, PartialEq, QueryableByName)]
pub struct Backlog {
    /// Depots that are due, taken or not, without the parked ones.
    #[diesel(sql_type = BigInt)]
    pub due: i64,
    /// For how long the oldest has been due, in seconds. `None` when nothing is due.
    #[diesel(sql_type = Nullable<Double>)]
    pub oldest_age_s: Option<f64>,
    /// Depots that are parked.
    #[diesel(sql_type = BigInt)]
    pub parked: i64,
}

/// The organisations that have depots.
///
/// # Errors
/// Those of the database.
pub async fn organisations(database: &Database) -> Result<Vec<Uuid>> {
    let clock = database.clock().await?;
    let organisations = crate::schema::mark::table
        .select(crate::schema::mark::org_id)
        .distinct()
        .order(crate::schema::mark::org_id);
    Ok(organisations.load(&mut &clock.postgres).await?)
}

/// Takes at most `limit` due depots for `lease`, of each organisation at most `quota` at a time over all workers, so
/// that a large organisation starves no small one. Organisations take turns, and within one the oldest goes first.
///
/// A claim is charged when it is made: it counts as an attempt, and the depot rests for a pause that doubles with
/// each (1 s to 10 min); the attempt of number [`ATTEMPTS_MAX`] parks it, so that the others go on, and from then on it
/// is tried every [`PARKED_PAUSE_S`]. [`finish`] clears all that, [`release`] and [`rest`] take it back; so a depot that
/// takes its worker down with it is counted, too. What has come to nothing before is taken alone: whatever it does, it
/// does to itself.
///
/// Due is what is due by the caller's clock, `now`, or by Postgres' own, whichever is ahead: writes mark by the
/// latter, and a worker whose clock is behind must not keep them waiting.
///
/// # Errors
/// Those of the database.
pub async fn claim(
    database: &Database,
    now: Timestamp,
    limit: i64,
    quota: i64,
    lease: Duration,
) -> Result<Vec<Claim>> {
    let clock = database.clock().await?;
    let claims = prepared(
        diesel::sql_query(
            "with held as (
                 select org_id, count(*) as held from mark where leased_until > now() group by org_id
             ), due as (
                 select org_id, depot_id, greatest(due_at, retry_at) as since, attempts > 0 as suspect,
                        row_number() over (partition by org_id order by greatest(due_at, retry_at), depot_id) as place
                 from mark
                 where (parked_at is null and due_at <= greatest($4, now()) or parked_at is not null)
                   and (retry_at is null or retry_at <= greatest($4, now()))
                   and (leased_until is null or leased_until <= now())
             ), ranked as (
                 select org_id, depot_id, suspect,
                        row_number() over (order by place + coalesce(held, 0), since, depot_id) as turn
                 from due left join held using (org_id)
                 where place + coalesce(held, 0) <= $2
             ), candidate as (
                 select r.org_id, r.depot_id from ranked r join ranked first on first.turn = 1
                 where r.turn = 1 or not r.suspect and not first.suspect
                 order by r.turn limit $1
             ), taken as (
                 select m.org_id, m.depot_id from mark m join candidate using (org_id, depot_id)
                 where m.due_at <= greatest($4, now()) and (m.retry_at is null or m.retry_at <= greatest($4, now()))
                   and (m.leased_until is null or m.leased_until <= now())
                 for no key update of m skip locked
             )
             update mark m set
                 attempts = m.attempts + 1,
                 retry_at = now() + make_interval(secs => case when m.attempts + 1 >= $5 then $6 else least(power(2, m.attempts), $7) end),
                 parked_at = case when m.attempts + 1 >= $5 then coalesce(m.parked_at, now()) end,
                 -- An attempt that nobody ended took its worker down.
                 last_error = case when m.lease_token is null then m.last_error else $8 end,
                 lease_token = gen_random_uuid(), leased_until = now() + make_interval(secs => $3)
             from taken t where m.org_id = t.org_id and m.depot_id = t.depot_id
             returning m.org_id, m.depot_id, m.gen as generation, m.lease_token, m.attempts, greatest($4, now()) as as_of",
        )
        .bind::<BigInt, _>(limit)
        .bind::<BigInt, _>(quota)
        .bind::<Double, _>(lease.as_secs_f64())
        .bind::<Timestamptz, _>(now.to_diesel())
        .bind::<Integer, _>(ATTEMPTS_MAX)
        .bind::<Double, _>(PARKED_PAUSE_S)
        .bind::<Double, _>(BACKOFF_MAX_S)
        .bind::<Text, _>(NEVER_ENDED),
    )
    .load(&mut &clock.postgres)
    .await?;
    Ok(claims)
}

/// Holds on to a claim for another `lease`, counted from now. False when it is lost: then stop working on it.
///
/// # Errors
/// Those of the database.
pub async fn renew(database: &Database, claim: &Claim, lease: Duration) -> Result<bool> {
    let clock = database.clock().await?;
    let renewed = prepared(
        diesel::sql_query(
            "update mark set leased_until = now() + make_interval(secs => $4)
             where org_id = $1 and depot_id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.depot_id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<Double, _>(lease.as_secs_f64()),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(renewed == 1)
}

/// Makes sure, within a transaction that publishes a part of the result, that the claim stands and will until it
/// commits; renews it.
///
/// # Errors
/// [`Error::Stale`] when the depot was marked again or the lease is lost: let the transaction roll back, then
/// [`release`].
pub async fn check(tx: &Write<'_>, claim: &Claim, lease: Duration) -> Result<()> {
    let stands = prepared(
        diesel::sql_query(
            "update mark set leased_until = now() + make_interval(secs => $5)
             where org_id = $1 and depot_id = $2 and lease_token = $3 and gen = $4",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.depot_id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<BigInt, _>(claim.generation)
        .bind::<Double, _>(lease.as_secs_f64()),
    )
    .execute(&mut tx.connection())
    .await?;
    if stands == 1 {
        Ok(())
    } else {
        Err(Error::Stale)
    }
}

/// Ends a claim within the transaction that publishes the last of its result. The depot is due again at
/// `valid_until`.
///
/// # Errors
/// [`Error::Stale`] when the depot was marked again or the lease is lost: let the transaction roll back, then
/// [`release`].
pub async fn finish(tx: &Write<'_>, claim: &Claim, valid_until: Timestamp) -> Result<()> {
    let finished = prepared(
        diesel::sql_query(
            "update mark set due_at = $5, lease_token = null, leased_until = null, attempts = 0, retry_at = null,
                 last_error = null, parked_at = null
             where org_id = $1 and depot_id = $2 and lease_token = $3 and gen = $4",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.depot_id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<BigInt, _>(claim.generation)
        .bind::<Timestamptz, _>(valid_until.to_diesel()),
    )
    .execute(&mut tx.connection())
    .await?;
    if finished == 1 {
        Ok(())
    } else {
        Err(Error::Stale)
    }
}

/// Gives a claim back that was marked again meanwhile: it is due at once, and nothing is held against it. Nothing
/// happens when it is lost already.
///
/// # Errors
/// Those of the database.
pub async fn release(database: &Database, claim: &Claim) -> Result<()> {
    give_back(database, claim, None).await
}

/// Gives a claim back because the database was in trouble, and notes with what. That is not held against the depot; it
/// rests for a moment, so that others have their turn.
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
            "update mark set attempts = attempts - 1, parked_at = case when attempts > $6 then parked_at end,
                 lease_token = null, leased_until = null, last_error = coalesce($4, last_error),
                 retry_at = case when $4 is not null then now() + make_interval(secs => $5) end
             where org_id = $1 and depot_id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.depot_id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<Nullable<Text>, _>(trouble.map(kept))
        .bind::<Double, _>(REST_S)
        .bind::<Integer, _>(ATTEMPTS_MAX),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(())
}

/// Notes that a claim failed and why; all else was charged when it was made.
///
/// # Errors
/// Those of the database.
pub async fn fail(database: &Database, claim: &Claim, error: &str) -> Result<Failed> {
    let parked = claim.attempts >= ATTEMPTS_MAX;
    let clock = database.clock().await?;
    let noted = prepared(
        diesel::sql_query(
            "update mark set last_error = $4, lease_token = null, leased_until = null
             where org_id = $1 and depot_id = $2 and lease_token = $3",
        )
        .bind::<SqlUuid, _>(claim.org_id)
        .bind::<SqlUuid, _>(claim.depot_id)
        .bind::<SqlUuid, _>(claim.lease_token)
        .bind::<Text, _>(kept(error)),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(match (noted, parked) {
        (0, _) => Failed::LeaseLost,
        (_, true) => Failed::Parked,
        (_, false) => Failed::Later,
    })
}

/// An error as it is kept: Postgres takes every character but NUL.
fn kept(error: &str) -> String {
    let characters = error.chars().filter(|c| *c != '\0');
    characters.take(ERROR_CHARS_MAX).collect()
}

/// Lets a parked depot be tried again, at once. False when it was not parked.
///
/// # Errors
/// Those of the database.
pub async fn unpark(database: &Database, org_id: Uuid, depot_id: Uuid) -> Result<bool> {
    let clock = database.clock().await?;
    let freed = prepared(
        diesel::sql_query(
            "update mark set parked_at = null, attempts = 0, retry_at = null, due_at = now()
             where org_id = $1 and depot_id = $2 and parked_at is not null",
        )
        .bind::<SqlUuid, _>(org_id)
        .bind::<SqlUuid, _>(depot_id),
    )
    .execute(&mut &clock.postgres)
    .await?;
    Ok(freed == 1)
}

/// How far the workers are behind.
///
/// # Errors
/// Those of the database.
pub async fn backlog(database: &Database) -> Result<Backlog> {
    let clock = database.clock().await?;
    let backlog = prepared(diesel::sql_query(
        "select count(*) filter (where parked_at is null and due_at <= now()) as due,
             extract(epoch from now() - min(due_at) filter (where parked_at is null and due_at <= now()))::float8 as oldest_age_s,
             count(*) filter (where parked_at is not null) as parked
         from mark",
    ))
    .get_result(&mut &clock.postgres)
    .await?;
    Ok(backlog)
}

/// A depot's mark as it stands.
#[derive(Debug, Clone, PartialEq, QueryableByName)]
pub struct Mark {
    /// The organisation.
    #[diesel(sql_type = SqlUuid)]
    pub org_id: Uuid,
    /// The depot.
    #[diesel(sql_type = SqlUuid)]
    pub depot_id: Uuid,
    /// When it is, or was, to be recomputed.
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    pub due_at: Timestamp,
    /// Until when a worker holds it, or held it.
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    pub leased_until: Option<Timestamp>,
    /// Attempts in a row that came to nothing; one that is under way is among them.
    #[diesel(sql_type = Integer)]
    pub attempts: i32,
    /// Not to be tried again before.
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    pub retry_at: Option<Timestamp>,
    /// Why it failed last.
    #[diesel(sql_type = Nullable<Text>)]
    pub last_error: Option<String>,
    /// Since when it is parked.
    #[diesel(sql_type = Nullable<Timestamptz>, deserialize_as = jiff_diesel::NullableTimestamp)]
    pub parked_at: Option<Timestamp>,
}

/// At most `limit` marks of all organisations: the parked first, then by how long they have been due.
///
/// # Errors
/// Those of the database.
pub async fn list(database: &Database, limit: i64) -> Result<Vec<Mark>> {
    let clock = database.clock().await?;
    let marks = prepared(
        diesel::sql_query(
            "select org_id, depot_id, due_at, leased_until, attempts, retry_at, last_error, parked_at
             from mark order by parked_at nulls last, due_at, depot_id limit $1",
        )
        .bind::<BigInt, _>(limit),
    )
    .load(&mut &clock.postgres)
    .await?;
    Ok(marks)
}
