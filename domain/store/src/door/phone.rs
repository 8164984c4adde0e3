//! Phones at the door: known by their key, and by it alone.

use diesel::prelude::*;
use diesel::sql_types::{Binary, Bool, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::digest;
use crate::prepared::prepared;
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

/// A phone that comes with what it had not sent.
#[derive(Debug, Clone, Copy, QueryableByName)]
pub struct Sender {
    /// The organisation.
    #[diesel(sql_type = SqlUuid)]
    pub org_id: Uuid,
    /// The phone.
    #[diesel(sql_type = SqlUuid)]
    pub device_id: Uuid,
    /// Its session, as it is or was.
    #[diesel(sql_type = SqlUuid)]
    pub session: Uuid,
    /// Who stands for what is kept of it: whoever shut it out, else whoever made its code.
    #[diesel(sql_type = SqlUuid)]
    pub answered_by: Uuid,
    /// Whether its session goes on. It was not shut out, and the session was not ended otherwise: because the person left
    /// or got another role or password, or by lying unused.
    #[diesel(sql_type = Bool)]
    pub welcome: bool,
}

/// The phone of this key.
///
/// # Errors
/// Those of the database.
pub async fn sender(database: &Database, thumbprint: &str) -> Result<Option<Sender>> {
    let door = database.door().await?;
    Ok(prepared(
        diesel::sql_query(
            "select d.org_id, d.id as device_id, d.session, coalesce(d.revoked_by, d.enrolled_by) as answered_by,
                    d.revoked_at is null and exists (
                        select from refresh_token t where t.org_id = d.org_id and t.family = d.session
                          and t.revoked_at is null and t.expires_at > now()) as welcome
             from device d where d.thumbprint = $1",
        )
        .bind::<Text, _>(thumbprint),
    )
    .get_result(&mut &door.postgres)
    .await
    .optional()?)
}
