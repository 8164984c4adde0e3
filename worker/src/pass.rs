//! One pass: take what is due, recompute it, publish what changed.

use std::any::Any;
use std::collections::BTreeMap;
use std::time::Instant;

use futures::future::join_all;
use rimeyard_rules::facts::DepotFacts;
use rimeyard_store::mark::{self, Claim, Failed};
use rimeyard_store::state::{self, DepotResult};
use rimeyard_store::{Database, Error, Result, Tenant, alert, facts};
use uuid::Uuid;

use crate::due::due_at;
use crate::recompute::recompute;
use crate::settings::Settings;

/// What a pass did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Pass {
    /// Depots recomputed and published.
    pub recomputed: usize,
    /// Documents published, because their text had changed.
    pub documents: usize,
    /// Depots given back because they were marked again meanwhile, or the lease was over: they are due still.
    pub overtaken: usize,
    /// Depots that could not be recomputed.
    pub failures: Vec<Failure>,
}

/// A depot that could not be recomputed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Failure {
    /// The organisation.
    pub org_id: Uuid,
    /// The depot.
    pub depot_id: Uuid,
    /// Why, for whoever runs the installation.
    pub error: String,
    /// Whether it is parked now: tried every hour, or after `unpark`.
    pub parked: bool,
}

impl Pass {
    /// Depots that were taken.
    pub fn taken(&self) -> usize {
        self.recomputed + self.overtaken + self.failures.len()
    }

    fn add(&mut self, other: Pass) {
        self.recomputed += other.recomputed;
        self.documents += other.documents;
        self.overtaken += other.overtaken;
        self.failures.extend(other.failures);
    }
}

/// Passes until nothing is due.
///
/// # Errors
/// As [`pass`].
pub async fn drain(database: &Database, settings: &Settings) -> Result<Pass> {
    let mut all = Pass::default();
    loop {
        let done = pass(database, settings).await?;
        if done.taken() == 0 {
            return Ok(all);
        }
        all.add(done);
    }
}

/// Takes at most `settings.depots_max` due depots and recomputes them. A depot at fault is noted with its mark, and
/// the others go on.
///
/// # Errors
/// The database is out of reach or in trouble. What was taken is given back, now or when its lease ends.
pub async fn pass(database: &Database, settings: &Settings) -> Result<Pass> {
    let now = (settings.clock)();
    let claims = mark::claim(
        database,
        now,
        settings.depots_max,
        settings.quota,
        settings.lease,
    )
    .await?;
    // Who is parked without a word, because it takes its worker down with it, is told of before it does so again.
    for claim in claims
        .iter()
        .filter(|one| one.attempts > mark::ATTEMPTS_MAX)
    {
        alert::tell_parked(database, claim.org_id, claim.depot_id, claim.as_of).await?;
    }
    let mut by_organisation: BTreeMap<Uuid, Vec<Claim>> = BTreeMap::new();
    for claim in claims {
        by_organisation.entry(claim.org_id).or_default().push(claim);
    }
    let together = by_organisation.into_values().flat_map(|claims| {
        let chunks = claims.chunks(LOADED_TOGETHER).map(<[Claim]>::to_vec);
        chunks.collect::<Vec<_>>()
    });
    let together = together.map(|claims| loaded_together(database, settings, claims));
    let mut all = Pass::default();
    let mut away = None;
    for (claim, outcome) in join_all(together).await.into_iter().flatten() {
        match end(database, &claim, outcome).await {
            Ok(done) => all.add(done),
            Err(error) => away = Some(error),
        }
    }
    match away {
        Some(error) => Err(error),
        None => Ok(all),
    }
}

/// Publishes a claim's result: how many documents that were.
type Outcome = Result<usize>;

/// So many depots of an organisation are loaded together. Fewer round trips speak for more; for fewer, that Postgres reads
/// some while others are computed.
const LOADED_TOGETHER: usize = 4;

/// Depots of one organisation: loaded together, computed and published one by one.
async fn loaded_together(
    database: &Database,
    settings: &Settings,
    claims: Vec<Claim>,
) -> Vec<(Claim, Outcome)> {
    match load(database, &claims).await {
        Ok(facts) => {
            join_all(claims.into_iter().zip(facts).map(async |(claim, facts)| {
                let outcome = one(database, settings, &claim, facts).await;
                (claim, outcome)
            }))
            .await
        }
        // One depot that cannot be loaded must not stop the others: find out which it is. A database that is away
        // would be away for each.
        Err(error) if claims.len() > 1 && !matches!(error, Error::Unavailable(_)) => {
            let mut outcomes = Vec::with_capacity(claims.len());
            for claim in claims {
                let outcome = alone(database, settings, &claim).await;
                outcomes.push((claim, outcome));
            }
            outcomes
        }
        Err(Error::Unavailable(cause)) => claims
            .into_iter()
            .map(|claim| (claim, Err(Error::Unavailable(cause.clone()))))
            .collect(),
        Err(error) => claims.into_iter().zip([Err(error)]).collect(),
    }
}

/// A depot loaded by itself. Those before it may have taken long.
async fn alone(database: &Database, settings: &Settings, claim: &Claim) -> Outcome {
    if !mark::renew(database, claim, settings.lease).await? {
        return Err(Error::Stale);
    }
    let mut facts = load(database, std::slice::from_ref(claim)).await?;
    one(database, settings, claim, facts.remove(0)).await
}

/// Whether an error tells of the database and not of a depot. Whatever is not trouble is the depot's own: its facts
/// cannot be read or computed, its result cannot be stored, or either takes longer than anything may.
fn is_trouble(error: &Error) -> bool {
    matches!(
        error,
        Error::Unavailable(_) | Error::Refused(_) | Error::Contended | Error::Moved
    )
}

/// The facts of the claims' depots, in the claims' order.
async fn load(database: &Database, claims: &[Claim]) -> Result<Vec<DepotFacts>> {
    let Some(first) = claims.first() else {
        return Ok(Vec::new());
    };
    let ids: Vec<Uuid> = claims.iter().map(|claim| claim.depot_id).collect();
    let tenant = Tenant::system(first.org_id);
    let loaded = database
        .read(&tenant, async |tx| facts::load(tx, &ids, first.as_of).await)
        .await?;
    let mut loaded: BTreeMap<Uuid, DepotFacts> =
        loaded.into_iter().map(|facts| (facts.id, facts)).collect();
    ids.iter()
        .map(|id| loaded.remove(id).ok_or(Error::NotFound { what: "depot" }))
        .collect()
}

async fn one(
    database: &Database,
    settings: &Settings,
    claim: &Claim,
    facts: DepotFacts,
) -> Outcome {
    let started = Instant::now();
    let as_of = claim.as_of;
    // Off the threads that wait for Postgres; a panic in the rules is this depot's failure and nobody else's.
    let computed = tokio::task::spawn_blocking(move || {
        let result = recompute(&facts, as_of)?;
        let escalates_at = result.alerts.escalates_at(&facts.alerts, as_of);
        let due_at = due_at(&facts, result.valid_until);
        let due_at = escalates_at.map_or(due_at, |at| due_at.min(at));
        Ok::<_, Error>((result, due_at))
    });
    let (result, due_at): (DepotResult, _) = computed.await.map_err(|error| {
        Error::internal(format!(
            "the rules broke: {}",
            error
                .try_into_panic()
                .map_or_else(|error| error.to_string(), |panic| words(panic.as_ref()))
        ))
    })??;
    let published = state::publish(database, claim, &result, due_at, settings.lease).await?;
    tracing::info!(
        depot.id = %claim.depot_id,
        depot.units = result.units.len(),
        published.documents = published.documents,
        depot.due_at = %due_at,
        elapsed.milliseconds = started.elapsed().as_secs_f64() * 1e3,
        "worker.recomputed"
    );
    Ok(published.documents)
}

fn words(panic: &(dyn Any + Send)) -> String {
    let text = panic.downcast_ref::<&str>().copied();
    let text = text.or_else(|| panic.downcast_ref::<String>().map(String::as_str));
    text.unwrap_or("a panic without words").to_owned()
}

/// Gives back or notes what was not published.
async fn end(database: &Database, claim: &Claim, outcome: Outcome) -> Result<Pass> {
    match outcome {
        Ok(documents) => Ok(Pass {
            recomputed: 1,
            documents,
            ..Pass::default()
        }),
        Err(Error::Stale) => {
            mark::release(database, claim).await?;
            tracing::debug!(depot.id = %claim.depot_id, "worker.overtaken");
            Ok(Pass {
                overtaken: 1,
                ..Pass::default()
            })
        }
        Err(error) if is_trouble(&error) => {
            mark::rest(database, claim, &error.to_string()).await?;
            Err(error)
        }
        Err(error) => {
            let error = error.to_string();
            let failed = mark::fail(database, claim, &error).await?;
            let parked = failed == Failed::Parked;
            if parked {
                alert::tell_parked(database, claim.org_id, claim.depot_id, claim.as_of).await?;
            }
            tracing::error!(
                depot.id = %claim.depot_id,
                error.cause = %error,
                attempts = claim.attempts,
                parked,
                "worker.failed"
            );
            Ok(Pass {
                failures: vec![Failure {
                    org_id: claim.org_id,
                    depot_id: claim.depot_id,
                    error,
                    parked,
                }],
                ..Pass::default()
            })
        }
    }
}
