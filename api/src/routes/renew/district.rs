//! GET /v1/renew

use actix_web::{get, web};
use jiff::Timestamp;
use rimeyard_rules::calculations::renew::{AnnualCost, Verdict};
use rimeyard_rules::depot::renew::{InSeason, UnitRenewal, assumed, renew};
use rimeyard_rules::renew::Assumption;
use rimeyard_store::{facts, renew as costs};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::asked::{Amount, Yearly, Years, terms};
use crate::answer::Answer;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::routes::spares::{DEPOT_IDS, DepotIds, bounds};
use crate::signed::Signed;

/// Which machines, and what is taken to be so.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// Of these depots; of all that you may see if absent.
    #[param(inline)]
    depot_ids: Option<DepotIds>,
    /// An hour of labour, in the currency of each model's price; 60 if absent.
    #[param(inline)]
    labour_per_hour: Option<Amount>,
    /// A stand-in's hire for a day, in that currency; 0.04 of the price of a new one if absent.
    #[param(inline)]
    hire_per_day: Option<Amount>,
    /// Rate of discount a year, prices as they are today; 0.04 if absent.
    #[param(inline)]
    discount_rate: Option<Yearly>,
    /// The share of its value that a machine keeps each year; 0.8 if absent.
    #[param(inline)]
    resale_kept: Option<Yearly>,
    /// The oldest that a machine is to grow, in years; 15 if absent.
    #[param(inline)]
    years: Option<Years>,
}

/// Machines of several depots: what each costs, and how it did in season.
#[derive(Debug, Serialize, ToSchema)]
pub struct RenewTable {
    /// As of when.
    as_of: Timestamp,
    /// What is taken to be so of all of them, and where it is from.
    assumptions: Vec<Assumption>,
    /// How many are to be renewed.
    to_renew: usize,
    /// How many are to be repaired.
    to_repair: usize,
    /// Of how many it cannot be said; their `lacking` says why.
    not_said: usize,
    /// The machines: where renewing saves most first, those of which it cannot be said last.
    units: Vec<RenewLine>,
}

/// One machine.
#[derive(Debug, Serialize, ToSchema)]
pub struct RenewLine {
    /// The unit.
    unit_id: Uuid,
    /// The number on its tag.
    tag: String,
    /// Its depot.
    depot_id: Uuid,
    /// Its model.
    model_id: Uuid,
    /// That model's name.
    model: String,
    /// How many winters it has been through; null where that is not known.
    age: Option<f64>,
    /// What costs less; null where that cannot be said.
    verdict: Option<Verdict>,
    /// Said for people.
    text: String,
    /// Of which currency its money is.
    currency: Option<String>,
    /// The machine, kept for the years in which it is cheapest.
    keep: Option<AnnualCost>,
    /// A new one, kept for its economic life.
    new: Option<AnnualCost>,
    /// What renewing saves a year; under 0 what it costs more.
    renewing_saves: Option<f64>,
    /// The chance that keeping it costs no more than a new one.
    chance_keeping_is_cheaper: Option<f64>,
    /// The first of its winters that by itself will cost more than a new one does a year.
    turns_at_winter: Option<u32>,
    /// Repairs and being without it, per hour run, over the winters whose hours are known.
    cost_per_running_hour: Option<f64>,
    /// How it did in the season running, else in the last one.
    in_season: InSeason,
    /// What must be known first.
    lacking: Vec<String>,
}

impl From<UnitRenewal> for RenewLine {
    fn from(unit: UnitRenewal) -> Self {
        RenewLine {
            unit_id: unit.unit_id,
            tag: unit.tag,
            depot_id: unit.depot_id,
            model_id: unit.model_id,
            model: unit.model,
            age: unit.inputs.age,
            verdict: unit.renew.verdict,
            text: unit.renew.text,
            currency: unit.inputs.currency,
            keep: unit.renew.keep,
            new: unit.renew.new,
            renewing_saves: unit.renew.renewing_saves,
            chance_keeping_is_cheaper: unit.renew.chance_keeping_is_cheaper,
            turns_at_winter: unit.renew.turns_at_winter,
            cost_per_running_hour: unit.renew.cost_per_running_hour,
            in_season: unit.in_season,
            lacking: unit.renew.lacking,
        }
    }
}

/// Say of several depots' machines which to renew: where a new one saves most first.
///
/// Of each machine what GET /v1/units/{unit_id}/renew says, and how it did in season: availability, the schedule kept,
/// proofs. Money is in the currency of each model's price. At most 2,000 machines are computed at once.
#[utoipa::path(
    tag = "renew",
    params(Filter),
    responses((status = 200, description = "The machines, as things stand now.", body = RenewTable)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/renew")]
pub async fn district(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let Query(filter) = filter;
    let terms = terms(
        filter.labour_per_hour,
        filter.hire_per_day,
        filter.discount_rate,
        filter.resale_kept,
        filter.years,
    );
    let named = filter.depot_ids.map(|ids| ids.0);
    let depots = bounds::depots(&who, named.as_ref(), DEPOT_IDS).await?;
    // Who asks waits for the others: a table takes a processor for a second or so.
    let turn = who.state.lists.acquire().await;
    let _turn = turn.map_err(Problem::internal)?;
    let as_of = Timestamp::now();
    let mut units: Vec<RenewLine> = Vec::new();
    for ids in bounds::pieces(&depots) {
        let (facts, mut costs) = who
            .read(async |tx| {
                let facts = facts::load(tx, &ids, as_of).await?;
                let costs = costs::costs(tx, &facts, as_of).await?;
                Ok((facts, costs))
            })
            .await?;
        let computed = web::block(move || {
            let mut lines: Vec<RenewLine> = Vec::new();
            for depot in &facts {
                let costs = costs.remove(&depot.id).unwrap_or_default();
                let answered = renew(depot, &costs, &terms, as_of)?;
                lines.extend(answered.into_iter().map(RenewLine::from));
            }
            Ok::<_, Problem>(lines)
        });
        units.extend(computed.await.map_err(Problem::internal)??);
    }
    units.sort_by(|a, b| {
        let saves = |line: &RenewLine| line.renewing_saves.unwrap_or(f64::NEG_INFINITY);
        let by_tag = || (&a.tag, a.unit_id).cmp(&(&b.tag, b.unit_id));
        saves(b).total_cmp(&saves(a)).then_with(by_tag)
    });
    let count = |verdict| units.iter().filter(|line| line.verdict == verdict).count();
    Ok(Answer::value(&RenewTable {
        as_of,
        assumptions: assumed(&terms),
        to_renew: count(Some(Verdict::Renew)),
        to_repair: count(Some(Verdict::Repair)),
        not_said: count(None),
        units,
    }))
}
