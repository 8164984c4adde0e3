//! GET /v1/season-buy

use std::collections::BTreeMap;

use actix_web::get;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::buy::{BuyLine, Cost};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::asked::{Asked, DepotIds, OnOrder, ReviewDays, ServiceLevel};
use super::bounds::DEPOT_IDS;
use super::compute::{Computed, compute};
use crate::answer::Answer;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// What is asked.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// For these depots; for all that you may see if absent.
    #[param(inline)]
    depot_ids: Option<DepotIds>,
    /// To keep enough until what is ordered at the next review, so many days from now, has come; to the season's end if
    /// absent.
    #[param(inline)]
    review_days: Option<ReviewDays>,
    /// The chance with which a level must be enough; if absent 0.99 of parts without which a unit stands, 0.95 of others.
    #[param(inline)]
    service_level: Option<ServiceLevel>,
    /// What is on its way from a supplier, for all these depots: no ledger here knows of it until it is received.
    #[param(inline)]
    on_order: Option<OnOrder>,
    /// This part alone, with what its pooled level was computed from.
    part_id: Option<Uuid>,
}

impl Filter {
    /// What it asks for.
    pub async fn compute(self, who: &Signed) -> Result<Computed, Problem> {
        let asked = Asked::new(
            self.review_days,
            self.service_level,
            self.on_order,
            self.part_id,
        );
        compute(who, self.depot_ids.map(|ids| ids.0), asked, DEPOT_IDS).await
    }
}

/// What depots are to keep and to buy.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SeasonBuy)]
pub struct Answered {
    /// As of when.
    as_of: Timestamp,
    /// The depots, by id.
    depots: Vec<AskedDepot>,
    /// The parts that they need, what is to be bought first.
    lines: Vec<BuyLine>,
    /// What the orders cost where one store keeps the pooled levels, by currency; parts without a price aside.
    cost_pooled: Vec<Cost>,
    /// What they cost where each depot keeps its own; what is on order is not taken off.
    cost_local: Vec<Cost>,
    /// What the sheets' jobs take that the list of parts does not have, in the sheets' words: list it to have it counted.
    not_listed: Vec<String>,
}

/// A depot that was asked for.
#[derive(Debug, Serialize, ToSchema)]
pub struct AskedDepot {
    /// The depot.
    depot_id: Uuid,
    /// Its name.
    name: String,
    /// How many machines it has.
    machines: usize,
    /// The first day of the season running there, else of the next.
    #[schema(value_type = String, format = Date)]
    season_starts: Date,
    /// Its last day.
    #[schema(value_type = String, format = Date)]
    season_ends: Date,
}

/// Say how many of each part several depots are to keep, each for itself and together, what to buy, and why.
///
/// Levels are those of GET /v1/depots/{depot_id}/spares. A pooled level is enough for all depots from one store, worked
/// out in common winters and not added up: `pooling_saves` is what all shelves together hold more. At most 2,000
/// machines are computed at once.
#[utoipa::path(
    tag = "spares",
    params(Filter),
    responses((status = 200, description = "The parts they need.", body = Answered)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/season-buy")]
pub async fn season_buy(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let Computed { as_of, depots, buy } = filter.0.compute(&who).await?;
    let depot = |depot: &rimeyard_rules::buy::DepotDemand| AskedDepot {
        depot_id: depot.depot_id,
        name: depot.name.clone(),
        machines: depot.machines,
        season_starts: depot.season.starts,
        season_ends: depot.season.ends,
    };
    let pooled = buy.lines.iter().map(|line| &line.pooled.level);
    let local = buy
        .lines
        .iter()
        .flat_map(|line| &line.local)
        .map(|local| &local.level);
    Ok(Answer::value(&Answered {
        as_of,
        depots: depots.iter().map(depot).collect(),
        cost_pooled: sums(pooled.filter_map(|level| level.cost.as_ref())),
        cost_local: sums(local.filter_map(|level| level.cost.as_ref())),
        lines: buy.lines,
        not_listed: buy.not_listed,
    }))
}

/// Sums of money, one of each currency.
pub fn sums<'c>(costs: impl Iterator<Item = &'c Cost>) -> Vec<Cost> {
    let mut sums: BTreeMap<&str, i64> = BTreeMap::new();
    for cost in costs {
        let sum = sums.entry(&cost.currency).or_default();
        *sum = sum.saturating_add(cost.amount_minor);
    }
    let sums = sums.into_iter().map(|(currency, amount_minor)| Cost {
        amount_minor,
        currency: currency.to_owned(),
    });
    sums.collect()
}
