//! The computation behind the lists: bounded in machines, a few depots in memory at a time, off the threads that answer.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::web;
use jiff::Timestamp;
use rimeyard_rules::Invalid;
use rimeyard_rules::buy::{self, Catalogue, DepotDemand, SeasonBuy};
use rimeyard_store::{Error, spares};
use uuid::Uuid;

use super::asked::Asked;
use crate::problem::Problem;
use crate::signed::Signed;

/// So many machines are computed at most for one answer.
pub const MACHINES_MAX: i64 = 2_000;
/// So many parts of the list at most.
const PARTS_MAX: usize = 1_000;
/// Depots are loaded together up to so many machines.
const MACHINES_AT_A_TIME: i64 = 200;

/// Where several depots are named.
pub const DEPOT_IDS: &str = "depot_ids";

/// 400: a parameter asks for what cannot be answered.
pub fn wrong(field: &str, problem: String) -> Problem {
    Problem::malformed(vec![Invalid::new(field, problem)])
}

/// A list, and what it was made of.
pub struct Computed {
    /// As of when.
    pub as_of: Timestamp,
    /// The depots.
    pub depots: Vec<DepotDemand>,
    /// The list.
    pub buy: SeasonBuy,
}

/// These depots, or all that are granted, as they are to be loaded together. `field` is where the asker names them.
pub async fn asked_for(
    who: &Signed,
    named: Option<BTreeSet<Uuid>>,
    field: &'static str,
) -> Result<Vec<Vec<Uuid>>, Problem> {
    let depots = who
        .read(
            async |tx| match spares::machines(tx, named.as_ref()).await {
                // The depot of a path is there or it is not; one among many is a wrong value.
                Err(Error::NotFound { .. }) if field == DEPOT_IDS => Ok(None),
                depots => depots.map(Some),
            },
        )
        .await?
        .ok_or_else(|| wrong(field, "names a depot that you may not see".to_owned()))?;
    let machines: i64 = depots.iter().map(|(_, machines)| machines).sum();
    if machines > MACHINES_MAX {
        let problem = format!(
            "asks for {machines} machines; at most {MACHINES_MAX} are computed at once, so name fewer depots"
        );
        return Err(wrong(field, problem));
    }
    Ok(pieces(&depots))
}

/// The list for these depots, or for all that are granted. `field` is where the asker names them.
pub async fn compute(
    who: &Signed,
    named: Option<BTreeSet<Uuid>>,
    asked: Asked,
    field: &'static str,
) -> Result<Computed, Problem> {
    let pieces = asked_for(who, named, field).await?;
    // Who asks waits for the others: a list takes a processor for a second or so.
    let turn = who.state.lists.acquire().await;
    let _turn = turn.map_err(Problem::internal)?;
    let as_of = Timestamp::now();
    let mut catalogue = Catalogue::default();
    let mut demands: Vec<DepotDemand> = Vec::new();
    for ids in pieces {
        let (facts, parts) = who
            .read(async |tx| spares::supply(tx, &ids, as_of).await)
            .await?;
        let horizon = asked.horizon;
        let computed = web::block(move || {
            let of = |facts| DepotDemand::of(facts, as_of, &parts, horizon);
            let demands: Vec<DepotDemand> = facts.iter().map(of).collect();
            (demands, parts)
        });
        let (computed, parts) = computed.await.map_err(Problem::internal)?;
        demands.extend(computed);
        catalogue.extend(parts);
    }
    if catalogue.parts.len() > PARTS_MAX {
        let problem = format!(
            "has machines whose sheets take {} parts; at most {PARTS_MAX} are computed at once, so name fewer depots",
            catalogue.parts.len()
        );
        return Err(wrong(field, problem));
    }
    let depot_ids: Vec<Uuid> = demands.iter().map(|depot| depot.depot_id).collect();
    let part_ids: Vec<Uuid> = catalogue.parts.keys().copied().collect();
    let Asked {
        service,
        on_order,
        part_id,
        ..
    } = asked;
    let (lots, on_order) = who
        .read(async |tx| {
            let lots = spares::shelves(tx, &depot_ids, &part_ids).await?;
            let listed = spares::listed(tx, on_order.keys().copied().collect()).await?;
            let mut parts: BTreeMap<Uuid, i64> = BTreeMap::new();
            for (id, quantity) in on_order {
                let Some(part) = listed.get(&id) else {
                    return Ok(None);
                };
                // A kit is kept as its contents, so it arrives as these.
                let one = [(id, 1)];
                let contents = if part.kit.is_empty() {
                    &one[..]
                } else {
                    &part.kit
                };
                for (id, each) in contents {
                    let sum = parts.entry(*id).or_default();
                    *sum = sum.saturating_add(each.saturating_mul(quantity));
                }
            }
            Ok(Some((lots, parts)))
        })
        .await?
        .ok_or_else(|| wrong("on_order", "names a part that is on no list".to_owned()))?;
    let computed = web::block(move || {
        let mut buy = buy::season_buy(&demands, &lots, &catalogue, service, &on_order);
        match part_id {
            Some(part_id) => buy.lines.retain(|line| line.pooled.part_id == part_id),
            // What it was computed from is long: it comes with one part only.
            None => buy
                .lines
                .iter_mut()
                .for_each(|line| line.pooled.inputs = None),
        }
        Computed {
            as_of,
            depots: demands,
            buy,
        }
    });
    computed.await.map_err(Problem::internal)
}

/// Depots that are loaded together.
fn pieces(depots: &[(Uuid, i64)]) -> Vec<Vec<Uuid>> {
    let mut pieces: Vec<Vec<Uuid>> = Vec::new();
    let mut room = 0;
    for (depot_id, machines) in depots {
        match pieces.last_mut().filter(|_| *machines <= room) {
            Some(piece) => piece.push(*depot_id),
            None => {
                pieces.push(vec![*depot_id]);
                room = MACHINES_AT_A_TIME;
            }
        }
        // An empty depot has facts, too.
        room -= machines.max(&1);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depots_are_loaded_together_up_to_some_machines() {
        let id = Uuid::from_u128;
        let depots = [
            (1, 150),
            (2, 50),
            (3, 1),
            (4, 900),
            (5, 0),
            (6, 199),
            (7, 1),
        ];
        let depots = depots.map(|(depot, machines)| (id(depot), machines));
        let expected = [vec![1, 2], vec![3], vec![4], vec![5, 6], vec![7]];
        let expected =
            expected.map(|piece: Vec<u128>| piece.into_iter().map(id).collect::<Vec<_>>());
        assert_eq!(pieces(&depots), expected);
        assert!(pieces(&[]).is_empty());
    }
}
