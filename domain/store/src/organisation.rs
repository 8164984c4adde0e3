//! Organisations: whose everything is. One is made by the command line and never through the API.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use serde_json::json;
use uuid::Uuid;

use crate::password::Hashed;
use crate::person::{self, NewPerson};
use crate::schema::organisation;
use crate::{Database, Result, Tenant, Tx, feed, fields};

/// Makes an organisation and its scope in the feed (`scope_id` = `org_id`), and answers with its id. Its first `person`
/// comes with it or neither does.
///
/// # Errors
/// [`crate::Error::Invalid`] for a name that is blank or over 200 characters; those of [`person::create`].
pub async fn create(
    database: &Database,
    name: &str,
    first: Option<(&NewPerson, &Hashed)>,
) -> Result<Uuid> {
    fields::line("name", name, 1..=200)?;
    let org_id = Uuid::now_v7();
    feed::write(database, &Tenant::system(org_id), &[], async |tx| {
        diesel::insert_into(organisation::table)
            .values((organisation::org_id.eq(org_id), organisation::name.eq(name)))
            .execute(&mut tx.connection())
            .await?;
        tx.open_scope(org_id).await?;
        tx.audit(
            org_id,
            "create",
            "organisation",
            org_id,
            json!({ "name": name }),
        );
        if let Some((person, hashed)) = first {
            person::create(tx, person, Some(hashed)).await?;
        }
        Ok(())
    })
    .await?;
    Ok(org_id)
}

/// The name of the tenant's organisation.
///
/// # Errors
/// [`crate::Error::NotFound`].
pub async fn name(tx: &Tx<'_>) -> Result<String> {
    Ok(organisation::table
        .find(tx.org_id())
        .select(organisation::name)
        .first(&mut tx.connection())
        .await?)
}
