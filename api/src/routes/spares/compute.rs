//! The computation behind the lists: bounded in machines, a few depots in memory at a time, off the threads that answer.

use std::collections::{BTreeMap, BTreeSet};

use actix_web::web;
use jiff::Timestamp;
use rimeyard_rules::buy::{self, Catalogue, DepotDemand, SeasonBuy};
use rimeyard_store::spares;
use uuid::Uuid;

use super::asked::Asked;
use super::bounds::{self, wrong};
use crate::problem::Problem;
use crate::signed::Signed;

/// So many parts of the list at most.
const PARTS_MAX: usize = 1_000;

/// A list, and what it was made of.
pub struct Computed {
    /// As of when.
    pub as_of: Timestamp,
    /// The depots.
    pub depots: Vec<DepotDemand>,
    /// The list.
    pub buy: SeasonBuy,
}

/// The list for these depots, or for all that are granted. `field` is where the asker names them.
pub async fn compute(
    who: &Signed,
    named: Option<BTreeSet<Uuid>>,
    asked: Asked,
    field: &'static str,
) -> Result<Computed, Problem> {
    let depots = bounds::depots(who, named.as_ref(), field).await?;
    // Who asks waits for the others: a list takes a processor for a second or so.
    let turn = who.state.lists.acquire().await;
    let _turn = turn.map_err(Problem::internal)?;
    let as_of = Timestamp::now();
    let mut catalogue = Catalogue::default();
    let mut demands: Vec<DepotDemand> = Vec::with_capacity(depots.len());
    for ids in bounds::pieces(&depots) {
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
