//! The computation behind the orders: bounded in machines, a few depots in memory at a time, off the threads that answer.

use std::collections::BTreeSet;

use actix_web::web;
use jiff::Timestamp;
use rimeyard_rules::Invalid;
use rimeyard_rules::fix_first::{self, DepotWork, FixFirst, Meets};
use rimeyard_store::fix_first as stored;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::problem::Problem;
use crate::routes::spares::bounds;
use crate::signed::Signed;

/// What to fix first, as of when.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FixFirstAnswer)]
pub struct Answered {
    /// As of when.
    pub as_of: Timestamp,
    /// The order.
    #[serde(flatten)]
    pub order: FixFirst,
}

/// 400: a parameter asks for what cannot be answered.
fn wrong(fault: Invalid) -> Problem {
    bounds::wrong(&fault.field, fault.problem)
}

/// The order for these depots, or for all that are granted. `field` is where the asker names them.
pub async fn compute(
    who: &Signed,
    named: Option<BTreeSet<Uuid>>,
    meets: Meets,
    minutes: Option<f64>,
    field: &'static str,
) -> Result<Answered, Problem> {
    let depots = bounds::depots(who, named.as_ref(), field).await?;
    // Who asks waits for the others: an order takes a processor for a second or so.
    let turn = who.state.lists.acquire().await;
    let _turn = turn.map_err(Problem::internal)?;
    let as_of = Timestamp::now();
    let (mut works, mut names) = (Vec::new(), BTreeSet::new());
    for ids in bounds::pieces(&depots) {
        let (facts, lines) = who
            .read(async |tx| stored::work(tx, &ids, as_of).await)
            .await?;
        names.extend(stored::named(&facts, &lines));
        let computed = web::block(move || {
            let of = |facts| DepotWork::of(facts, &lines, meets, as_of).transpose();
            facts.iter().filter_map(of).collect::<Result<Vec<_>, _>>()
        });
        works.extend(computed.await.map_err(Problem::internal)?.map_err(wrong)?);
    }
    if meets.storm_id.is_some() && works.is_empty() {
        return Err(wrong(Invalid::new(
            "storm_id",
            "is no storm in progress or to come there; leave it out for the one that readiness is about",
        )));
    }
    let supply = who
        .read(async |tx| stored::supply(tx, &names).await)
        .await?;
    let computed = web::block(move || fix_first::fix_first(works, &supply, minutes));
    let order = computed.await.map_err(Problem::internal)?;
    // The rules call what is too much to plan at once `depots`; the asker names them elsewhere.
    let order = order.map_err(|fault| wrong(Invalid::new(field, fault.problem)))?;
    Ok(Answered { as_of, order })
}
