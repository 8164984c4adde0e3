//! Stored = recomputed: the proof that nothing was lost on the way from facts to readiness.

use std::collections::{BTreeMap, BTreeSet};

use rimeyard_store::state::{self, Computed, DepotResult, Stored};
use rimeyard_store::{Database, Error, Result, Tenant, Tx, facts, mark};
use uuid::Uuid;

use crate::recompute::recompute;

/// More depots than an installation will have.
const DEPOTS_MAX: i64 = 1_000_000;

/// How a depot's stored readiness compares with a fresh computation at its `as_of`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Comparison {
    /// The same to the letter.
    Equal,
    /// Due or being computed: facts have arrived since, so there is nothing to compare.
    Pending,
    /// It failed so often that it is parked.
    Parked,
    /// It differs, and here is where.
    Wrong(Vec<String>),
}

/// A depot and how it compares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// The organisation.
    pub org_id: Uuid,
    /// The depot.
    pub depot_id: Uuid,
    /// How it compares.
    pub comparison: Comparison,
}

/// Recomputes every depot of every organisation at its stored `as_of` from the stored facts, and compares documents,
/// inputs and until when they hold.
///
/// # Errors
/// Those of the database.
pub async fn check(database: &Database) -> Result<Vec<Checked>> {
    let mut depots: BTreeMap<Uuid, Vec<Uuid>> = BTreeMap::new();
    for mark in mark::list(database, DEPOTS_MAX).await? {
        depots.entry(mark.org_id).or_default().push(mark.depot_id);
    }
    let mut all = Vec::new();
    for (org_id, depot_ids) in depots {
        let tenant = Tenant::system(org_id);
        // Each in a transaction of its own: stored and facts are of one instant, and one that cannot be read spoils none
        // of the others.
        for depot_id in depot_ids {
            let read = database.read(&tenant, async |tx| {
                match state::stored(tx, &[depot_id]).await?.pop() {
                    Some(stored) => one(tx, stored).await.map(Some),
                    None => Ok(None),
                }
            });
            let comparison = match read.await {
                Ok(None) => continue,
                Ok(Some(comparison)) => comparison,
                Err(error @ (Error::Unavailable(_) | Error::Refused(_))) => return Err(error),
                Err(error) => Comparison::Wrong(vec![format!("it cannot be recomputed: {error}")]),
            };
            all.push(Checked {
                org_id,
                depot_id,
                comparison,
            });
        }
    }
    Ok(all)
}

async fn one(tx: &Tx<'_>, stored: Stored) -> Result<Comparison> {
    if stored.parked {
        return Ok(Comparison::Parked);
    }
    if stored.due {
        return Ok(Comparison::Pending);
    }
    let Some(stored) = stored.result else {
        let never = "it is not due and was never computed".to_owned();
        return Ok(Comparison::Wrong(vec![never]));
    };
    let differences = differences(&stored, &again(tx, &stored).await?);
    Ok(if differences.is_empty() {
        Comparison::Equal
    } else {
        Comparison::Wrong(differences)
    })
}

async fn again(tx: &Tx<'_>, stored: &DepotResult) -> Result<DepotResult> {
    let facts = facts::load(tx, &[stored.depot_id], stored.as_of).await?;
    let facts = facts.first().ok_or(Error::NotFound { what: "depot" })?;
    recompute(facts, stored.as_of)
}

fn differences(stored: &DepotResult, fresh: &DepotResult) -> Vec<String> {
    let mut found = Vec::new();
    if stored.valid_until != fresh.valid_until {
        found.push(format!(
            "holds until {} as stored, until {} as recomputed",
            stored.valid_until, fresh.valid_until
        ));
    }
    // The facts bring the alerts that are open: recomputed, nothing may become of them.
    if !fresh.alerts.is_empty() {
        found.push(format!("alerts as recomputed: {:?}", fresh.alerts));
    }
    compare(&mut found, "the depot", &stored.depot, &fresh.depot);
    let of = |result: &DepotResult| -> BTreeMap<Uuid, Computed> {
        result.units.iter().cloned().collect()
    };
    let (stored, fresh) = (of(stored), of(fresh));
    let ids: BTreeSet<&Uuid> = stored.keys().chain(fresh.keys()).collect();
    for id in ids {
        match (stored.get(id), fresh.get(id)) {
            (Some(stored), Some(fresh)) => {
                compare(&mut found, &format!("unit {id}"), stored, fresh);
            }
            (Some(_), None) => found.push(format!("unit {id} is stored and not recomputed")),
            _ => found.push(format!("unit {id} is recomputed and not stored")),
        }
    }
    found
}

fn compare(found: &mut Vec<String>, what: &str, stored: &Computed, fresh: &Computed) {
    let texts = [
        ("document", &stored.document, &fresh.document),
        ("status", &stored.status, &fresh.status),
        ("inputs", &stored.inputs, &fresh.inputs),
        ("tasks", &stored.tasks, &fresh.tasks),
    ];
    if stored.owed != fresh.owed {
        found.push(format!(
            "owed of {what}: stored {}, recomputed {}",
            stored.owed, fresh.owed
        ));
    }
    for (name, stored, fresh) in texts {
        if stored != fresh {
            let at = stored
                .bytes()
                .zip(fresh.bytes())
                .take_while(|(a, b)| a == b)
                .count();
            found.push(format!(
                "{name} of {what}: stored {:?}, recomputed {:?}",
                around(stored, at),
                around(fresh, at)
            ));
        }
    }
}

/// The text a little before and after a byte.
fn around(text: &str, at: usize) -> &str {
    let start = text.floor_char_boundary(at.saturating_sub(40));
    let end = text.floor_char_boundary(at.saturating_add(40).min(text.len()));
    &text[start..end]
}
