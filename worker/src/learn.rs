//! What the machines of an organisation teach of their models, learned anew when there is more to learn from. Seldom, and
//! from all depots that have such machines: a few are loaded at a time, and only what they show is kept.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::learn::{Booked, Fleet, Learned};
use rimeyard_rules::sheet::Sheet;
use rimeyard_store::learned::{self, Due};
use rimeyard_store::{Database, Error, Result, Tenant, facts, feed, mark, sheet};
use uuid::Uuid;

use crate::settings::Settings;

/// So many depots are loaded at a time.
const LOADED_TOGETHER: usize = 4;

/// Learns of every organisation what is due; how many models that were.
///
/// # Errors
/// Those of the database. What was learned until then is kept.
pub async fn pass(database: &Database, settings: &Settings) -> Result<usize> {
    let mut models = 0;
    for org_id in mark::organisations(database).await? {
        models += organisation(database, settings, org_id).await?;
    }
    Ok(models)
}

/// What is due, and where to learn it.
struct Lesson {
    due: Vec<Due>,
    sheets: BTreeMap<Uuid, Sheet>,
    booked: BTreeMap<String, Booked>,
    depots: Vec<Uuid>,
}

async fn organisation(database: &Database, settings: &Settings, org_id: Uuid) -> Result<usize> {
    let tenant = Tenant::system(org_id);
    let lesson = database
        .read(&tenant, async |tx| {
            let due = learned::due(tx).await?;
            if due.is_empty() {
                return Ok(None);
            }
            let ids: Vec<Uuid> = due.iter().map(|due| due.model_id).collect();
            let sheets = sheet::present(tx, &ids).await?;
            let numbers: BTreeSet<&str> =
                sheets.values().filter_map(Sheet::fastener_number).collect();
            let numbers: Vec<&str> = numbers.into_iter().collect();
            Ok(Some(Lesson {
                booked: learned::booked(tx, &numbers).await?,
                depots: learned::depots(tx, &ids).await?,
                sheets,
                due,
            }))
        })
        .await?;
    let Some(Lesson {
        due,
        sheets,
        booked,
        depots,
    }) = lesson
    else {
        return Ok(0);
    };
    let as_of = (settings.clock)();
    let mut fleet = Fleet::new(sheets, booked);
    for depots in depots.chunks(LOADED_TOGETHER) {
        for facts in load(database, &tenant, depots, as_of).await? {
            // Off the threads that wait for Postgres.
            fleet = tokio::task::spawn_blocking(move || {
                fleet.look_at(&facts, as_of);
                fleet
            })
            .await
            .map_err(Error::internal)?;
        }
    }
    let lessons = tokio::task::spawn_blocking(move || fleet.teach());
    let mut lessons: BTreeMap<Uuid, Learned> = lessons.await.map_err(Error::internal)?;
    let mut models = 0;
    for due in &due {
        let Some(content) = lessons.remove(&due.model_id) else {
            continue;
        };
        let version = feed::write(database, &tenant, &[org_id], async |tx| {
            learned::add(tx, due, content.clone(), as_of).await
        })
        .await?;
        tracing::info!(
            model.id = %version.model_id,
            learned.version = version.version,
            learned.facts = version.facts,
            "worker.learned"
        );
        models += 1;
    }
    Ok(models)
}

/// The facts of these depots. One that cannot be loaded teaches nothing, and keeps nobody from learning of the others.
async fn load(
    database: &Database,
    tenant: &Tenant,
    depots: &[Uuid],
    as_of: jiff::Timestamp,
) -> Result<Vec<DepotFacts>> {
    let read = async |depots: &[Uuid]| {
        database
            .read(tenant, async |tx| facts::load(tx, depots, as_of).await)
            .await
    };
    match read(depots).await {
        Err(Error::Internal(_)) => {}
        loaded => return loaded,
    }
    let mut loaded = Vec::with_capacity(depots.len());
    for depot in depots {
        match read(&[*depot]).await {
            Ok(facts) => loaded.extend(facts),
            Err(Error::Internal(cause)) => {
                tracing::warn!(depot.id = %depot, error.cause = %cause, "worker.learn.passed_over");
            }
            Err(error) => return Err(error),
        }
    }
    Ok(loaded)
}
