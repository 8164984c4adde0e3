//! Phones at the door: known by their key, and by it alone.

use diesel::prelude::*;
use diesel::sql_types::{Binary, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::digest;
use crate::prepared::prepared;
use crate::schema::device;
use crate::{Database, Result};

/// A phone whose session goes on.
#[derive(Debug, Clone, Copy, QueryableByName)]
pub struct Phone {
    /// The organisation.
    #[diesel(sql_type = SqlUuid)]
    pub org_id: Uuid,
    /// The session.
    #[diesel(sql_type = SqlUuid)]
    pub session: Uuid,
}

/// The phone that has this refresh token and this key: `None` for a token that is not a phone's, or that
/// [`refresh`](super::refresh) has more to say of. The token is not used by it.
///
/// # Errors
/// Those of the database.
pub async fn phone_with(
    database: &Database,
    token: &str,
    thumbprint: &str,
) -> Result<Option<Phone>> {
    let door = database.door().await?;
    Ok(prepared(
        diesel::sql_query(
            "select t.org_id, t.family as session
             from refresh_token t
             join device d on d.org_id = t.org_id and d.session = t.family
             where t.token_hash = $1 and t.expires_at > now() and t.revoked_at is null
               and d.thumbprint = $2 and d.revoked_at is null",
        )
        .bind::<Binary, _>(digest(token))
        .bind::<Text, _>(thumbprint),
    )
    .get_result(&mut &door.postgres)
    .await
    .optional()?)
}

/// A phone that was shut out.
#[derive(Debug, Clone, Copy)]
pub struct Shut {
    /// The organisation.
    pub org_id: Uuid,
    /// The phone.
    pub device_id: Uuid,
    /// Who shut it out.
    pub revoked_by: Uuid,
}

/// The phone of this key, if it was shut out.
///
/// # Errors
/// Those of the database.
pub async fn shut_out(database: &Database, thumbprint: &str) -> Result<Option<Shut>> {
    let door = database.door().await?;
    let found: Option<(Uuid, Uuid, Option<Uuid>)> = device::table
        .filter(device::thumbprint.eq(thumbprint))
        .select((device::org_id, device::id, device::revoked_by))
        .first(&mut &door.postgres)
        .await
        .optional()?;
    Ok(found.and_then(|(org_id, device_id, revoked_by)| {
        Some(Shut {
            org_id,
            device_id,
            revoked_by: revoked_by?,
        })
    }))
}
