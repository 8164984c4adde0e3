//! Somebody is granted more than whoever enrolled their phone answers for.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::code::answers_for;
use crate::feed::Write;
use crate::person::{Person, Sessions, acting, end_sessions};
use crate::schema::device;
use crate::{Result, Tx};

/// Ends the sessions of a person's own phones that were enrolled by somebody who does not answer for them as they stand now:
/// whoever made the code may hold the phone still, and is not to reach further with it than they could have made a code for.
/// A shared phone reaches no further than its depot, whatever it is granted.
pub(crate) async fn end_unanswered(tx: &Write<'_>, person: &Person) -> Result<()> {
    let phones: Vec<(Uuid, Uuid)> = device::table
        .filter(device::org_id.eq(tx.org_id()))
        .filter(device::person_id.eq(person.id))
        .filter(device::depot_id.is_null())
        .filter(device::revoked_at.is_null())
        .select((device::enrolled_by, device::session))
        .load(&mut tx.connection())
        .await?;
    let mut of_each: BTreeMap<Uuid, Vec<Uuid>> = BTreeMap::new();
    for (maker, session) in phones {
        of_each.entry(maker).or_default().push(session);
    }
    let mut unanswered = Vec::new();
    for (maker, sessions) in of_each {
        if !answers(tx, maker, person).await? {
            unanswered.extend(sessions);
        }
    }
    if unanswered.is_empty() {
        return Ok(());
    }
    end_sessions(tx, person.id, Sessions::These(&unanswered)).await
}

async fn answers(tx: &Tx<'_>, maker: Uuid, person: &Person) -> Result<bool> {
    let maker = acting(tx, maker).await?;
    Ok(maker.is_some_and(|maker| answers_for(&maker, person)))
}
