//! People and what they may do.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use crate::schema::{person, person_depot};
use crate::{Database, Depots, Error, Result, Role, Tenant};

/// What a person may do now, and where. `None` for one who is unknown or no longer active.
///
/// # Errors
/// Those of the database.
pub async fn standing(
    database: &Database,
    org_id: Uuid,
    person_id: Uuid,
) -> Result<Option<(Role, Depots)>> {
    database
        .read(&Tenant::system(org_id), async |tx| {
            let person = person::table
                .find((org_id, person_id))
                .filter(person::active)
                .select((person::role, person::all_depots))
                .first::<(String, bool)>(&mut tx.connection());
            let granted = person_depot::table
                .filter(
                    person_depot::org_id
                        .eq(org_id)
                        .and(person_depot::person_id.eq(person_id)),
                )
                .select(person_depot::depot_id)
                .load::<Uuid>(&mut tx.connection());
            let (person, granted) = futures::join!(person, granted);
            let Some((role, all_depots)) = person.optional()? else {
                return Ok(None);
            };
            let depots = if all_depots {
                Depots::All
            } else {
                Depots::Some(granted?.into_iter().collect())
            };
            Ok(Some((role.parse().map_err(Error::internal)?, depots)))
        })
        .await
}
