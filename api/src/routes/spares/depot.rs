//! GET /v1/depots/{depot_id}/spares

use std::collections::BTreeSet;

use actix_web::get;
use jiff::Timestamp;
use rimeyard_rules::buy::{Cost, SpareLine};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::asked::{Asked, OnOrder, ReviewDays, ServiceLevel};
use super::compute::compute;
use super::season_buy::sums;
use crate::answer::Answer;
use crate::extract::{Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// What is asked.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// To keep enough until what is ordered at the next review, so many days from now, has come; to the season's end if
    /// absent.
    #[param(inline)]
    review_days: Option<ReviewDays>,
    /// The chance with which a level must be enough; if absent 0.99 of parts without which a unit stands, 0.95 of others.
    #[param(inline)]
    service_level: Option<ServiceLevel>,
    /// What is on its way from a supplier: no ledger here knows of it until it is received.
    #[param(inline)]
    on_order: Option<OnOrder>,
    /// This part alone, with what its level was computed from.
    part_id: Option<Uuid>,
}

/// What a depot is to keep and to buy.
#[derive(Debug, Serialize, ToSchema)]
pub struct DepotSpares {
    /// As of when.
    as_of: Timestamp,
    /// The depot.
    depot_id: Uuid,
    /// Its name.
    name: String,
    /// The parts that it needs, what is to be bought first.
    lines: Vec<SpareLine>,
    /// What all of the orders cost, by currency; parts without a price aside.
    cost: Vec<Cost>,
    /// What its sheets' jobs take that the list of parts does not have, in the sheets' words: list it to have it counted.
    not_listed: Vec<String>,
}

/// Say how many of each part a depot is to keep, what it is short of, and why.
///
/// Levels are enough to the season's end (the one running, else the next) with the service level's chance, worked out
/// winter by winter from the past ones: what wears out, measured or by its life, and what breaks; on top of it what open
/// orders want and what season kits take. Lots whose shelf life ends before do not count. A depot may have 2,000 machines
/// at most.
#[utoipa::path(
    tag = "spares",
    params(Filter),
    responses((status = 200, description = "The parts it needs.", body = DepotSpares)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/spares")]
pub async fn depot(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let Query(filter) = filter;
    let asked = Asked::new(
        filter.review_days,
        filter.service_level,
        filter.on_order,
        filter.part_id,
    );
    let computed = compute(&who, Some(BTreeSet::from([*depot_id])), asked, "depot_id").await?;
    let depot = computed.depots.first().ok_or_else(Problem::not_found)?;
    let lines: Vec<SpareLine> = computed
        .buy
        .lines
        .into_iter()
        .map(|line| line.pooled)
        .collect();
    Ok(Answer::value(&DepotSpares {
        as_of: computed.as_of,
        depot_id: *depot_id,
        name: depot.name.clone(),
        cost: sums(lines.iter().filter_map(|line| line.level.cost.as_ref())),
        lines,
        not_listed: computed.buy.not_listed,
    }))
}
