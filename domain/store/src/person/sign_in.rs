//! With what a person signs in, and the sessions that began with it.

use diesel::prelude::*;
use diesel::sql_types::{Array, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use serde_json::json;
use uuid::Uuid;

use super::find;
use crate::feed::{Write, kind};
use crate::password::Hashed;
use crate::schema::{credential, device, refresh_token};
use crate::{Error, Result, Tx, prepared};

/// Changes the password of the one who asks and ends their sessions, but for the one they ask in; answers with their
/// email. Lock the
/// organisation's scope.
///
/// # Errors
/// [`Error::NotFound`]; [`Error::Invalid`] (`new`) for one who signs in with nothing.
pub async fn change_password(tx: &mut Write<'_>, hashed: &Hashed, session: Uuid) -> Result<String> {
    let id = tx.tenant().person_id.unwrap_or_default();
    let Some(email) = find(tx, id).await?.email else {
        return Err(Error::invalid("new", "needs an email to sign in with"));
    };
    set_credential(tx, id, None, Some(hashed)).await?;
    end_sessions(tx, id, Sessions::But(session)).await?;
    let what = json!({"password": "changed"});
    tx.audit(tx.org_id(), "update", kind::PERSON, id, what);
    Ok(email)
}

/// The application may write a hash and not read one (an upsert reads), so it updates, and inserts where there was
/// nothing to update. What stays as it was is `None`.
pub(super) async fn set_credential(
    tx: &Tx<'_>,
    id: Uuid,
    email: Option<&String>,
    hashed: Option<&Hashed>,
) -> Result<()> {
    let updated = prepared(
        diesel::sql_query(
            "update credential set email = coalesce($3, email), changed_at = now()
             where org_id = $1 and person_id = $2",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(id)
        .bind::<Nullable<Text>, _>(email),
    )
    .execute(&mut tx.connection())
    .await;
    let stored = match (updated, email, hashed) {
        (Ok(0), Some(email), Some(hashed)) => {
            diesel::insert_into(credential::table)
                .values((
                    credential::org_id.eq(tx.org_id()),
                    credential::person_id.eq(id),
                    credential::email.eq(email),
                    credential::password_hash.eq(&hashed.0),
                ))
                .execute(&mut tx.connection())
                .await
        }
        (Ok(1), _, Some(hashed)) => {
            diesel::update(
                credential::table.filter(
                    credential::org_id
                        .eq(tx.org_id())
                        .and(credential::person_id.eq(id)),
                ),
            )
            .set(credential::password_hash.eq(&hashed.0))
            .execute(&mut tx.connection())
            .await
        }
        (updated, ..) => updated,
    };
    match stored.map_err(Error::from) {
        Ok(_) => Ok(()),
        // The address may belong to another organisation, of which nothing more is said.
        Err(Error::Conflict { field, .. }) if field == "email" => Err(Error::conflict(
            "email",
            "is already used to sign in; choose another",
        )),
        Err(other) => Err(other),
    }
}

/// Which sessions of a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sessions<'a> {
    /// All of them.
    All,
    /// All but this one.
    But(Uuid),
    /// Those of their phones.
    OfPhones,
    /// These.
    These(&'a [Uuid]),
}

/// Ends sessions of a person. Whoever signs in with the old password, or goes on with an old token, at the same moment
/// comes before or after it, and is ended or refused.
pub(crate) async fn end_sessions(tx: &Tx<'_>, id: Uuid, which: Sessions<'_>) -> Result<()> {
    lock_sessions(tx, &[id]).await?;
    let mut families = refresh_token::table
        .filter(refresh_token::org_id.eq(tx.org_id()))
        .filter(refresh_token::person_id.eq(id))
        .filter(refresh_token::revoked_at.is_null())
        .select(refresh_token::family)
        .distinct()
        .into_boxed();
    match which {
        Sessions::All => {}
        Sessions::But(family) => families = families.filter(refresh_token::family.ne(family)),
        Sessions::OfPhones => {
            let phones = device::table
                .filter(device::org_id.eq(tx.org_id()))
                .filter(device::person_id.eq(id))
                .select(device::session);
            families = families.filter(refresh_token::family.eq_any(phones));
        }
        Sessions::These(these) => {
            families = families.filter(refresh_token::family.eq_any(these));
        }
    }
    let families: Vec<Uuid> = families.load(&mut tx.connection()).await?;
    lock_sessions(tx, &families).await?;
    diesel::update(refresh_token::table)
        .filter(refresh_token::org_id.eq(tx.org_id()))
        .filter(refresh_token::family.eq_any(families))
        .filter(refresh_token::revoked_at.is_null())
        .set(refresh_token::revoked_at.eq(diesel::dsl::now))
        .execute(&mut tx.connection())
        .await?;
    Ok(())
}

/// Waits for whoever is beginning a session of these people, or going on with one of these sessions, and keeps others
/// waiting until the end of the transaction. What comes after it in the transaction sees what they have done.
pub(crate) async fn lock_sessions(tx: &Tx<'_>, ids: &[Uuid]) -> Result<()> {
    prepared(
        diesel::sql_query(
            "select pg_advisory_xact_lock(hashtextextended(id::text, 0))
             from (select unnest($1::uuid[]) as id order by 1) ids",
        )
        .bind::<Array<SqlUuid>, _>(ids),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}
