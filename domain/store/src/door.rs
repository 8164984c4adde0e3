//! The door: what happens before it is known which organisation somebody belongs to. Its database role sees
//! credentials, refresh tokens and signing keys of all organisations, and nothing else.
//!
//! Sessions. A sign-in begins a family of refresh tokens, each random (256 bits), stored as its SHA-256, and used
//! once: the answer holds its successor. An answer may be lost, so a used token still works until one of its
//! successors has been used: then the phone has it. Once a successor was used, whoever comes with the old token has
//! taken it from somewhere, and the whole family ends; so does every session after [`SESSION_LIFE`].

mod phone;

pub use phone::{Phone, Sender, phone_with, sender};

use std::time::Duration;

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Binary, Bool, Double, Nullable, Text, Uuid as SqlUuid};
use diesel_async::{AsyncPgConnection, RunQueryDsl};
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::database::Leased;
use crate::password;
use crate::prepared::{prepared, statement};
use crate::schema::{credential, refresh_token, signing_key};
use crate::{Database, Error, Result};

/// How long a session lasts, however much it is used: then one signs in again.
pub const SESSION_LIFE: Duration = Duration::from_secs(365 * 24 * 60 * 60);
/// So long a token whose successor was used is still known for what it is, and its coming again for a theft. After
/// that it is as unknown as any other that has expired, and swept away with them ([`crate::sweep`]).
pub const ALARM_LIFE: Duration = Duration::from_secs(14 * 24 * 60 * 60);
/// How long a refresh token may lie unused.
pub const REFRESH_TOKEN_LIFE: Duration = Duration::from_secs(90 * 24 * 60 * 60);
/// So many successors one token may have: answers get lost, but not this often.
const SUCCESSORS_MAX: i64 = 20;
/// Two servers that start together make one key, not two; the number means nothing else.
const ADVISORY_LOCK: i64 = 0x6b65_795f_6d61_6b65;

/// Somebody who is let in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Known {
    /// The organisation.
    pub org_id: Uuid,
    /// The person. Whether they are active is [`person::standing`](crate::person::standing)'s to say.
    pub person_id: Uuid,
}

/// A session and the token that prolongs it.
#[derive(Clone)]
pub struct Session {
    /// Whose.
    pub known: Known,
    /// The session: the family of refresh tokens.
    pub id: Uuid,
    /// To be sent back to be refreshed; kept nowhere here.
    pub refresh_token: String,
}

/// A key pair that signs access tokens.
#[derive(Clone, Queryable, Selectable, Insertable)]
#[diesel(table_name = signing_key, check_for_backend(diesel::pg::Pg))]
pub struct SigningKey {
    /// Its name in tokens and in the published set.
    pub kid: String,
    /// PKCS #8, PEM.
    pub private_pem: String,
    /// SubjectPublicKeyInfo, PEM.
    pub public_pem: String,
}

/// Who has signed in, and with what.
#[derive(Clone)]
pub struct SignedIn {
    /// Who.
    pub known: Known,
    /// The hash of the password that it was with.
    hash: String,
}

/// Who signs in with this address and password: `None` when nobody does. That takes equally long whether the address
/// is unknown or the password wrong.
///
/// # Errors
/// Those of the database.
pub async fn sign_in(database: &Database, email: &str, password: &str) -> Result<Option<SignedIn>> {
    // What cannot be an address is nobody's, and takes as long.
    let email = password::address(email).unwrap_or_default();
    let found: Option<(Uuid, Uuid, String)> = {
        let door = database.door().await?;
        credential::table
            .filter(credential::email.eq(email))
            .select((
                credential::org_id,
                credential::person_id,
                credential::password_hash,
            ))
            .first(&mut &door.postgres)
            .await
            .optional()?
    };
    let hash = found.as_ref().map(|(.., hash)| hash.clone());
    let matches = password::matches(password, hash).await?;
    Ok(found.filter(|_| matches).map(|(org_id, person_id, hash)| {
        let known = Known { org_id, person_id };
        SignedIn { known, hash }
    }))
}

/// Whether anybody can sign in at all: false on a house that is new.
///
/// # Errors
/// Those of the database.
pub async fn anybody(database: &Database) -> Result<bool> {
    let door = database.door().await?;
    Ok(diesel::select(diesel::dsl::exists(
        credential::table.select(credential::org_id),
    ))
    .get_result(&mut &door.postgres)
    .await?)
}

/// Begins a session of somebody who has signed in. `None` where their password was changed since: it is not theirs any
/// more who knew the old one.
///
/// # Errors
/// Those of the database.
pub async fn begin_signed_in(database: &Database, signed_in: SignedIn) -> Result<Option<Session>> {
    let SignedIn { known, hash } = signed_in;
    let leased = Leased::new(database.door().await?);
    let connection = leased.get();
    // By the same lock as `person::lock_sessions`, which whoever changes the password holds until it is changed.
    let lock = prepared(
        diesel::sql_query("select pg_advisory_xact_lock(hashtextextended($1::text, 0))")
            .bind::<SqlUuid, _>(known.person_id),
    );
    let unchanged = credential::table
        .filter(credential::org_id.eq(known.org_id))
        .filter(credential::person_id.eq(known.person_id))
        .filter(credential::password_hash.eq(hash));
    let (begun, locked, found) = futures::join!(
        statement("begin").execute(&mut { connection }),
        lock.execute(&mut { connection }),
        diesel::select(diesel::dsl::exists(unchanged)).get_result::<bool>(&mut { connection }),
    );
    let outcome = match (begun.and(locked), found) {
        (Ok(_), Ok(true)) => issue(connection, known, Uuid::now_v7(), None)
            .await
            .map(Some),
        (Ok(_), Ok(false)) => Ok(None),
        (Err(error), _) | (_, Err(error)) => Err(error.into()),
    };
    let ending = if outcome.is_ok() {
        "commit"
    } else {
        "rollback"
    };
    statement(ending).execute(&mut { connection }).await?;
    leased.give_back();
    outcome
}

/// Begins a session.
///
/// # Errors
/// Those of the database.
pub async fn begin_session(database: &Database, known: Known) -> Result<Session> {
    begin_session_as(database, known, Uuid::now_v7()).await
}

/// Begins a session that has its id already: a phone's.
///
/// # Errors
/// Those of the database.
pub(crate) async fn begin_session_as(
    database: &Database,
    known: Known,
    session: Uuid,
) -> Result<Session> {
    let door = database.door().await?;
    issue(&door.postgres, known, session, None).await
}

/// Exchanges a refresh token for its successor. `None` for one that is unknown, expired, of an ended session, of a phone
/// whose key `thumbprint` is not, or used for a second time after its successor: that ends the session.
///
/// # Errors
/// Those of the database.
pub async fn refresh(
    database: &Database,
    token: &str,
    thumbprint: Option<&str>,
) -> Result<Option<Session>> {
    let leased = Leased::new(database.door().await?);
    let connection = leased.get();
    let (begun, found) = futures::join!(
        statement("begin").execute(&mut { connection }),
        used(connection, token, thumbprint)
    );
    let outcome = match begun.map_err(Error::from).and(found) {
        Ok(Use::Unknown) => Ok(None),
        Ok(Use::Again { org_id, family }) => {
            tracing::warn!(%org_id, session = %family, "store.door.refresh_token_used_again");
            end(connection, org_id, family).await.map(|()| None)
        }
        Ok(Use::Good {
            known,
            family,
            parent,
        }) => issue(connection, known, family, Some(parent))
            .await
            .map(Some),
        Err(error) => Err(error),
    };
    let ending = if outcome.is_ok() {
        "commit"
    } else {
        "rollback"
    };
    statement(ending).execute(&mut { connection }).await?;
    leased.give_back();
    outcome
}

/// Ends a session: its tokens, all of them, are worth nothing from now on.
///
/// # Errors
/// Those of the database.
pub async fn end_session(database: &Database, org_id: Uuid, session: Uuid) -> Result<()> {
    let leased = Leased::new(database.door().await?);
    let connection = leased.get();
    let lock = prepared(
        diesel::sql_query("select pg_advisory_xact_lock(hashtextextended($1::text, 0))")
            .bind::<SqlUuid, _>(session),
    );
    let (begun, locked, ended, committed) = futures::join!(
        statement("begin").execute(&mut { connection }),
        lock.execute(&mut { connection }),
        end(connection, org_id, session),
        statement("commit").execute(&mut { connection }),
    );
    begun?;
    locked?;
    ended?;
    committed?;
    leased.give_back();
    Ok(())
}

/// The live keys, newest first. When there is none, `make` makes the first.
///
/// # Errors
/// Those of the database and of `make`.
pub async fn signing_keys(
    database: &Database,
    make: impl FnOnce() -> Result<SigningKey>,
) -> Result<Vec<SigningKey>> {
    let leased = Leased::new(database.door().await?);
    let connection = leased.get();
    let keys = live_keys(connection).await?;
    if !keys.is_empty() {
        leased.give_back();
        return Ok(keys);
    }
    statement("begin").execute(&mut { connection }).await?;
    prepared(
        diesel::sql_query("select pg_advisory_xact_lock($1)").bind::<BigInt, _>(ADVISORY_LOCK),
    )
    .execute(&mut { connection })
    .await?;
    let mut keys = live_keys(connection).await?;
    if keys.is_empty() {
        let key = make()?;
        diesel::insert_into(signing_key::table)
            .values(&key)
            .execute(&mut { connection })
            .await?;
        keys.push(key);
    }
    statement("commit").execute(&mut { connection }).await?;
    leased.give_back();
    Ok(keys)
}

/// Adds a key, which signs from now on, and retires those before it: at once, or when what they have signed has run
/// out, `life` from now.
///
/// # Errors
/// Those of the database.
pub async fn rotate_keys(database: &Database, key: &SigningKey, life: Duration) -> Result<()> {
    let leased = Leased::new(database.door().await?);
    let connection = leased.get();
    statement("begin").execute(&mut { connection }).await?;
    prepared(
        diesel::sql_query(
            "update signing_key set retired_at = now() + make_interval(secs => $1)
             where retired_at is null or retired_at > now() + make_interval(secs => $1)",
        )
        .bind::<Double, _>(life.as_secs_f64()),
    )
    .execute(&mut { connection })
    .await?;
    diesel::insert_into(signing_key::table)
        .values(key)
        .execute(&mut { connection })
        .await?;
    statement("commit").execute(&mut { connection }).await?;
    leased.give_back();
    Ok(())
}

async fn live_keys(connection: &AsyncPgConnection) -> Result<Vec<SigningKey>> {
    Ok(signing_key::table
        .filter(
            signing_key::retired_at
                .is_null()
                .or(signing_key::retired_at.gt(diesel::dsl::now)),
        )
        .order((signing_key::created_at.desc(), signing_key::kid))
        .select(SigningKey::as_select())
        .load(&mut { connection })
        .await?)
}

enum Use {
    Unknown,
    Good {
        known: Known,
        family: Uuid,
        parent: Uuid,
    },
    Again {
        org_id: Uuid,
        family: Uuid,
    },
}

#[derive(QueryableByName)]
struct Token {
    #[diesel(sql_type = SqlUuid)]
    org_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    person_id: Uuid,
    #[diesel(sql_type = SqlUuid)]
    family: Uuid,
    #[diesel(sql_type = Nullable<SqlUuid>)]
    parent: Option<Uuid>,
    #[diesel(sql_type = Bool)]
    revoked: bool,
    #[diesel(sql_type = Bool)]
    used: bool,
    #[diesel(sql_type = Nullable<Text>)]
    thumbprint: Option<String>,
    #[diesel(sql_type = Bool)]
    shut_out: bool,
}

/// Marks a token as used and tells what that use means. The family is locked, by its number and not row by row: two
/// uses at the same moment come one after the other, and each sees what the other did.
async fn used(
    connection: &AsyncPgConnection,
    token: &str,
    thumbprint: Option<&str>,
) -> Result<Use> {
    let lock = prepared(
        diesel::sql_query(
            "select pg_advisory_xact_lock(hashtextextended(family::text, 0)) from refresh_token where token_hash = $1",
        )
        .bind::<Binary, _>(digest(token)),
    );
    let look = prepared(
        diesel::sql_query(
            "select t.org_id, t.id, t.person_id, t.family, t.parent, t.revoked_at is not null as revoked,
                    t.used_at is not null as used, d.thumbprint, d.revoked_at is not null as shut_out
             from refresh_token t
             left join device d on d.org_id = t.org_id and d.session = t.family
             where t.token_hash = $1 and t.expires_at > now()",
        )
        .bind::<Binary, _>(digest(token)),
    );
    let (locked, found) = futures::join!(
        lock.execute(&mut { connection }),
        look.get_result::<Token>(&mut { connection })
    );
    locked?;
    let found = found.optional()?;
    let Some(token) = found else {
        return Ok(Use::Unknown);
    };
    // Whoever has a phone's token and not its key is not the phone: no alarm, or they could shut it out.
    if token.shut_out || token.thumbprint.is_some() && token.thumbprint.as_deref() != thumbprint {
        return Ok(Use::Unknown);
    }
    let Token {
        org_id,
        id,
        person_id,
        family,
        ..
    } = token;
    if session_ends_at(family) <= Timestamp::now() {
        return Ok(Use::Unknown);
    }
    let again = Use::Again { org_id, family };
    if token.revoked {
        return Ok(again);
    }
    let good = Use::Good {
        known: Known { org_id, person_id },
        family,
        parent: id,
    };
    if token.used {
        let successors = refresh_token::table
            .filter(
                refresh_token::org_id
                    .eq(org_id)
                    .and(refresh_token::parent.eq(id)),
            )
            .select((
                diesel::dsl::count_star(),
                diesel::dsl::count(refresh_token::used_at),
            ));
        let (issued, used): (i64, i64) = successors.first(&mut { connection }).await?;
        return Ok(if used > 0 || issued >= SUCCESSORS_MAX {
            again
        } else {
            good
        });
    }
    let first_use = diesel::update(refresh_token::table.find((org_id, id)))
        .set(refresh_token::used_at.eq(diesel::dsl::now))
        .execute(&mut { connection });
    // The answer that brought this token arrived; those that were lost are not to be used any more.
    let siblings = diesel::update(refresh_token::table)
        .filter(
            refresh_token::org_id
                .eq(org_id)
                .and(refresh_token::parent.eq(token.parent)),
        )
        .filter(
            refresh_token::id
                .ne(id)
                .and(refresh_token::revoked_at.is_null()),
        )
        .set(refresh_token::revoked_at.eq(diesel::dsl::now))
        .execute(&mut { connection });
    // And the one it was given for has done its duty.
    let replaced = prepared(
        diesel::sql_query(
            "update refresh_token set expires_at = least(expires_at, now() + make_interval(secs => $4))
             where org_id = $1 and (id = $2 or parent = $2 and id <> $3)",
        )
        .bind::<SqlUuid, _>(org_id)
        .bind::<Nullable<SqlUuid>, _>(token.parent)
        .bind::<SqlUuid, _>(id)
        .bind::<Double, _>(ALARM_LIFE.as_secs_f64()),
    );
    futures::try_join!(first_use, siblings, replaced.execute(&mut { connection }))?;
    Ok(good)
}

/// When a session is over: a family's id tells when it began.
fn session_ends_at(family: Uuid) -> Timestamp {
    let (seconds, _) = family
        .get_timestamp()
        .map_or((0, 0), |began| began.to_unix());
    Timestamp::from_second(seconds as i64).unwrap_or(Timestamp::MIN) + SESSION_LIFE
}

async fn issue(
    connection: &AsyncPgConnection,
    known: Known,
    family: Uuid,
    parent: Option<Uuid>,
) -> Result<Session> {
    let expires_at = (Timestamp::now() + REFRESH_TOKEN_LIFE).min(session_ends_at(family));
    let token = URL_SAFE_NO_PAD.encode(rand::random::<[u8; 32]>());
    diesel::insert_into(refresh_token::table)
        .values((
            refresh_token::org_id.eq(known.org_id),
            refresh_token::id.eq(Uuid::now_v7()),
            refresh_token::person_id.eq(known.person_id),
            refresh_token::family.eq(family),
            refresh_token::parent.eq(parent),
            refresh_token::token_hash.eq(digest(&token)),
            refresh_token::expires_at.eq(expires_at.to_diesel()),
        ))
        .execute(&mut { connection })
        .await?;
    Ok(Session {
        known,
        id: family,
        refresh_token: token,
    })
}

async fn end(connection: &AsyncPgConnection, org_id: Uuid, family: Uuid) -> Result<()> {
    diesel::update(refresh_token::table)
        .filter(
            refresh_token::org_id
                .eq(org_id)
                .and(refresh_token::family.eq(family)),
        )
        .filter(refresh_token::revoked_at.is_null())
        .set(refresh_token::revoked_at.eq(diesel::dsl::now))
        .execute(&mut { connection })
        .await?;
    Ok(())
}

fn digest(token: &str) -> Vec<u8> {
    Sha256::digest(token).to_vec()
}
