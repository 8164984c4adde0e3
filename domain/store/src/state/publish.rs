//! Writes what a recomputation came to.

use std::collections::HashMap;
use std::time::Duration;

use diesel::QueryableByName;
use diesel::sql_types::{Array, BigInt, Bool, SmallInt, Text, Timestamptz, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use jiff::Timestamp;
use jiff_diesel::ToDiesel;
use rimeyard_rules::alerts::Next;
use serde_json::value::RawValue;
use uuid::Uuid;

use super::{Computed, DepotResult};
use crate::feed::{self, COMMIT_BYTES_MAX, DOCUMENTS_MAX, Write, kind};
use crate::mark::{self, Claim};
use crate::{Database, Error, Result, Tenant, alert, prepared};

/// What came of publishing a result.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Published {
    /// Documents of the depot and its units whose text had changed, gone ones among them.
    pub documents: usize,
    /// Alerts opened, changed or cleared.
    pub alerts: usize,
    /// Transactions it took.
    pub commits: usize,
}

/// Publishes those documents whose text differs from what readers have, takes back those of units that are gone, and
/// ends the claim: the depot is due again at `due_at`. As much as one commit may hold goes into each; the one that
/// leaves nothing to publish writes the rows and ends the claim, and `lease` is for the others to hold on to it.
///
/// # Errors
/// [`Error::Stale`] when the depot was marked again or the lease is lost: [`mark::release`] it. What earlier commits
/// published stays, and the next recomputation goes on from there.
pub async fn publish(
    database: &Database,
    claim: &Claim,
    result: &DepotResult,
    due_at: Timestamp,
    lease: Duration,
) -> Result<Published> {
    let tenant = Tenant::system(claim.org_id);
    let mut published = Published::default();
    let mut alerts = in_parts(&result.alerts);
    loop {
        // What is written of alerts stands, whatever becomes of the rest: the next recomputation starts from it.
        let told = alerts.pop().unwrap_or_default();
        let last = alerts.is_empty();
        let (documents, finished) = feed::write(database, &tenant, &[claim.depot_id], async |tx| {
            alert::apply(tx, claim.depot_id, &told, result.as_of).await?;
            let (documents, all) = enter_differences(tx, result, Room::beside(&told)).await?;
            let finished = all && last;
            if finished {
                futures::try_join!(
                    write_units(tx, result),
                    write_depot(tx, result),
                    mark::finish(tx, claim, due_at),
                )?;
            } else {
                mark::check(tx, claim, lease).await?;
            }
            Ok((documents, finished))
        })
        .await?;
        published.documents += documents;
        published.alerts += told.len();
        published.commits += 1;
        if finished {
            return Ok(published);
        }
    }
}

/// How much of a commit is left for documents.
struct Room {
    documents: usize,
    bytes: usize,
}

impl Room {
    /// Beside what becomes of alerts, each at most 600 characters of text and 500 of somebody's word, of at most 4 bytes.
    fn beside(alerts: &Next) -> Self {
        const ALERT_BYTES_MAX: usize = 6_000;
        Room {
            documents: DOCUMENTS_MAX - alerts.len(),
            bytes: COMMIT_BYTES_MAX - alerts.len() * ALERT_BYTES_MAX,
        }
    }
}

/// A commit's worth at a time, to be taken from the end: what is cleared first, since what is opened anew may be of the
/// same subject.
fn in_parts(next: &Next) -> Vec<Next> {
    const AT_A_TIME: usize = 150;
    if next.len() <= AT_A_TIME {
        return vec![next.clone()];
    }
    let opened = next.opened.chunks(AT_A_TIME).map(|opened| Next {
        opened: opened.to_vec(),
        ..Next::default()
    });
    let changed = next.changed.chunks(AT_A_TIME).map(|changed| Next {
        changed: changed.to_vec(),
        ..Next::default()
    });
    let cleared = next.cleared.chunks(AT_A_TIME).map(|cleared| Next {
        cleared: cleared.to_vec(),
        ..Next::default()
    });
    opened.chain(changed).chain(cleared).collect()
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
struct Entry {
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = SqlUuid)]
    object_id: Uuid,
    #[diesel(sql_type = BigInt)]
    rev: i64,
    #[diesel(sql_type = Bool)]
    deleted: bool,
    #[diesel(sql_type = BigInt)]
    digest: i64,
}

/// Enters what differs, up to what there is room for, and says how many that were and whether it was all.
async fn enter_differences(
    tx: &mut Write<'_>,
    result: &DepotResult,
    room: Room,
) -> Result<(usize, bool)> {
    let entries: Vec<Entry> = prepared(
        diesel::sql_query(
            "select kind, object_id, rev, deleted, digest
             from feed_entry where org_id = $1 and scope_id = $2 and kind in ('unit-state', 'depot-state')",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(result.depot_id),
    )
    .load(&mut tx.connection())
    .await?;
    let mut entered = 0;
    let mut bytes = 0;
    let mut known: HashMap<(bool, Uuid), Entry> = entries
        .into_iter()
        .map(|entry| ((entry.kind == kind::UNIT_STATE, entry.object_id), entry))
        .collect();
    let units = result.units.iter();
    let computed = units
        .map(|(id, unit)| (kind::UNIT_STATE, *id, unit))
        .chain([(kind::DEPOT_STATE, result.depot_id, &result.depot)]);
    for (kind, id, Computed { document, .. }) in computed {
        let before = known.remove(&(kind == kind::UNIT_STATE, id));
        if let Some(before) = &before
            && !before.deleted
            && before.digest == feed::check(kind, id, before.rev, document)
        {
            continue;
        }
        entered += 1;
        bytes += document.len();
        if entered > room.documents || bytes > room.bytes {
            return Ok((entered - 1, false));
        }
        let rev = before.map_or(1, |before| before.rev + 1);
        let text: &RawValue = serde_json::from_str(document).map_err(Error::internal)?;
        tx.publish(result.depot_id, kind, id, rev, &text)?;
    }
    let gone = known.into_values().filter(|entry| !entry.deleted);
    for entry in gone {
        entered += 1;
        if entered > room.documents {
            return Ok((entered - 1, false));
        }
        tx.remove(
            result.depot_id,
            kind::UNIT_STATE,
            entry.object_id,
            entry.rev + 1,
        )?;
    }
    Ok((entered, true))
}

/// The rows of the depot's units; those of units that it no longer has go.
async fn write_units(tx: &Write<'_>, result: &DepotResult) -> Result<()> {
    let ids: Vec<Uuid> = result.units.iter().map(|(id, _)| *id).collect();
    let texts = |text: fn(&Computed) -> &str| -> Vec<&str> {
        result.units.iter().map(|(_, unit)| text(unit)).collect()
    };
    let owed: Vec<i16> = result.units.iter().map(|(_, unit)| unit.owed).collect();
    let upserted = prepared(
        diesel::sql_query(
            "insert into unit_state (org_id, unit_id, depot_id, status, inputs, tasks, owed, as_of, valid_until)
             select $1, u.unit_id, $2, u.status, u.inputs, u.tasks, u.owed, $6, $7
             from unnest($3::uuid[], $4::text[], $5::text[], $8::text[], $9::smallint[])
                 as u (unit_id, status, inputs, tasks, owed)
             on conflict (org_id, unit_id) do update set
                 depot_id = excluded.depot_id, status = excluded.status, inputs = excluded.inputs,
                 tasks = excluded.tasks, owed = excluded.owed,
                 as_of = excluded.as_of, valid_until = excluded.valid_until",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(result.depot_id)
        .bind::<Array<SqlUuid>, _>(&ids)
        .bind::<Array<Text>, _>(texts(|unit| &unit.status))
        .bind::<Array<Text>, _>(texts(|unit| &unit.inputs))
        .bind::<Timestamptz, _>(result.as_of.to_diesel())
        .bind::<Timestamptz, _>(result.valid_until.to_diesel())
        .bind::<Array<Text>, _>(texts(|unit| &unit.tasks))
        .bind::<Array<SmallInt>, _>(owed),
    );
    let deleted = prepared(
        diesel::sql_query(
            "delete from unit_state where org_id = $1 and depot_id = $2 and not unit_id = any($3)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(result.depot_id)
        .bind::<Array<SqlUuid>, _>(&ids),
    );
    futures::try_join!(
        upserted.execute(&mut tx.connection()),
        deleted.execute(&mut tx.connection()),
    )?;
    Ok(())
}

async fn write_depot(tx: &Write<'_>, result: &DepotResult) -> Result<()> {
    prepared(
        diesel::sql_query(
            "insert into depot_state (org_id, depot_id, inputs, as_of, valid_until) values ($1, $2, $3, $4, $5)
             on conflict (org_id, depot_id) do update set
                 inputs = excluded.inputs, as_of = excluded.as_of, valid_until = excluded.valid_until",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<SqlUuid, _>(result.depot_id)
        .bind::<Text, _>(&result.depot.inputs)
        .bind::<Timestamptz, _>(result.as_of.to_diesel())
        .bind::<Timestamptz, _>(result.valid_until.to_diesel()),
    )
    .execute(&mut tx.connection())
    .await?;
    Ok(())
}
