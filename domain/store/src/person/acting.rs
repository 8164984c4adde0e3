//! In whose name work that was asked for earlier is done.

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::{granted, parse};
use crate::schema::person;
use crate::{Depots, Result, Tenant, Tx};

/// The person as they stand now, with what they are granted now; `None` for one who is no longer active.
///
/// # Errors
/// Those of the database.
pub(crate) async fn acting(tx: &Tx<'_>, id: Uuid) -> Result<Option<Tenant>> {
    let ids = [id];
    let (found, granted) = futures::join!(
        person::table
            .find((tx.org_id(), id))
            .filter(person::active)
            .select((person::role, person::all_depots))
            .first::<(String, bool)>(&mut tx.connection()),
        granted(tx, &ids)
    );
    let Some((role, all_depots)) = found.optional()? else {
        return Ok(None);
    };
    let named = granted?.into_iter().map(|(_, depot_id)| depot_id).collect();
    Ok(Some(Tenant {
        org_id: tx.org_id(),
        person_id: Some(id),
        role: parse(&role)?,
        depots: if all_depots {
            Depots::All
        } else {
            Depots::Some(named)
        },
        request_id: None,
        session: None,
    }))
}
