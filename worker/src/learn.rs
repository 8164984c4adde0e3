//! What the machines of an organisation teach of their models, learned anew when there is more to learn from. Seldom, and
//! from all depots that have such machines: a few are loaded at a time, and only what they show is kept.

use std::collections::BTreeMap;

use jiff::Timestamp;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_rules::learn::{Fleet, Learned};
use rimeyard_store::learned::{self, Lesson};
use rimeyard_store::{Database, Error, Result, Tenant, facts, feed, mark};
use tokio::time::sleep;
use uuid::Uuid;

use crate::settings::Settings;

/// So many depots are loaded at a time.
const LOADED_TOGETHER: usize = 4;

/// Passes for ever, so often: beside the recomputing, which a large fleet's lesson must not keep waiting.
pub(crate) async fn run(database: Database, settings: Settings) {
    loop {
        if let Err(error) = pass(&database, &settings).await {
            tracing::warn!(error.cause = %error, "worker.learn.interrupted");
        }
        sleep(settings.learn_every).await;
    }
}

/// Learns of every organisation what is due; how many models that were. One of which it cannot be learned keeps nobody from
/// learning of the others.
///
/// # Errors
/// The database is out of reach. What was learned until then is kept.
pub async fn pass(database: &Database, settings: &Settings) -> Result<usize> {
    let mut models = 0;
    for org_id in mark::organisations(database).await? {
        let work = organisation(database, settings, org_id);
        match learned::alone(database, org_id, work).await {
            Ok(learned) => models += learned.unwrap_or(0),
            Err(error) => gone_on(org_id, None, error)?,
        }
    }
    Ok(models)
}

/// Notes what could not be learned, unless the database is away, which is nobody's fault and would be so for all.
fn gone_on(org_id: Uuid, model_id: Option<Uuid>, error: Error) -> Result<()> {
    if matches!(error, Error::Unavailable(_)) {
        return Err(error);
    }
    tracing::error!(
        organisation.id = %org_id,
        model.id = model_id.map(tracing::field::display),
        error.cause = %error,
        "worker.learn.failed"
    );
    Ok(())
}

async fn organisation(database: &Database, settings: &Settings, org_id: Uuid) -> Result<usize> {
    let tenant = Tenant::system(org_id);
    let Some(Lesson {
        due,
        sheets,
        fasteners,
        depots,
    }) = database.read(&tenant, learned::lesson).await?
    else {
        return Ok(0);
    };
    let as_of = (settings.clock)();
    let mut fleet = Fleet::new(sheets, fasteners);
    for depots in depots.chunks(LOADED_TOGETHER) {
        let (loaded, retired) = load(database, &tenant, depots, as_of).await?;
        // Off the threads that wait for Postgres.
        fleet = tokio::task::spawn_blocking(move || {
            for facts in &loaded {
                fleet.look_at(facts, &retired, as_of);
            }
            fleet
        })
        .await
        .map_err(Error::internal)?;
    }
    let lessons = tokio::task::spawn_blocking(move || fleet.teach());
    let mut lessons: BTreeMap<Uuid, Learned> = lessons.await.map_err(Error::internal)?;
    let mut models = 0;
    for due in &due {
        let Some(content) = lessons.remove(&due.model_id) else {
            continue;
        };
        let added = feed::write(database, &tenant, &[org_id], async |tx| {
            learned::add(tx, due, content.clone(), as_of).await
        })
        .await;
        match added {
            Ok(None) => tracing::info!(model.id = %due.model_id, "worker.learn.overtaken"),
            Ok(Some(version)) => {
                tracing::info!(
                    model.id = %version.model_id,
                    learned.version = version.version,
                    learned.facts = version.facts,
                    "worker.learned"
                );
                models += 1;
            }
            Err(error) => gone_on(org_id, Some(due.model_id), error)?,
        }
    }
    Ok(models)
}

/// Facts of depots, and when units of theirs were retired.
type Loaded = (Vec<DepotFacts>, BTreeMap<Uuid, Timestamp>);

/// The facts of these depots. One that cannot be loaded teaches nothing, and keeps nobody from learning of the others.
async fn load(
    database: &Database,
    tenant: &Tenant,
    depots: &[Uuid],
    as_of: Timestamp,
) -> Result<Loaded> {
    let read = async |depots: &[Uuid]| {
        database
            .read(tenant, async |tx| {
                facts::load_to_learn(tx, depots, as_of).await
            })
            .await
    };
    match read(depots).await {
        Err(Error::Internal(_)) => {}
        loaded => return loaded,
    }
    let (mut loaded, mut retired) = Loaded::default();
    for depot in depots {
        match read(&[*depot]).await {
            Ok((facts, of_these)) => {
                loaded.extend(facts);
                retired.extend(of_these);
            }
            Err(Error::Internal(cause)) => {
                tracing::warn!(depot.id = %depot, error.cause = %cause, "worker.learn.passed_over");
            }
            Err(error) => return Err(error),
        }
    }
    Ok((loaded, retired))
}
