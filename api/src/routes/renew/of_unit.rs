//! GET /v1/units/{unit_id}/renew

use actix_web::{get, web};
use jiff::Timestamp;
use rimeyard_rules::depot::renew::{UnitRenewal, renew};
use rimeyard_store::{Error, facts, renew as costs, unit};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::asked::{Amount, Yearly, Years, terms};
use crate::answer::Answer;
use crate::extract::{Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// What is taken to be so; what is absent is assumed, and the answer says what.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// An hour of labour, in the currency of the model's price; 60 if absent.
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

/// Repair or renew, of a unit, as of when.
#[derive(Debug, Serialize, ToSchema)]
pub struct DatedRenewal {
    /// When this was worked out.
    as_of: Timestamp,
    /// It.
    #[serde(flatten)]
    renewal: UnitRenewal,
}

/// Say whether to repair or to renew a unit: what keeping it costs a year, and what a new one does.
///
/// Equivalent annual cost, by the capital recovery factor: the machine kept for the years in which it is cheapest, against
/// a new one over its economic life. Repairs are what its orders booked, being without it its days out in season; their rise with
/// age is fitted to its winters and those of machines of its model at its depot. `inputs` is what
/// POST /v1/calculations/renew takes: it answers with the same. What must be known first stands under `lacking`: the price
/// of a new one is its model's, its age is counted from `acquired_on`. A retired unit is answered with 404.
#[utoipa::path(
    tag = "renew",
    params(Filter),
    responses((status = 200, description = "Both costs, as things stand now.", body = DatedRenewal)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/units/{unit_id}/renew")]
pub async fn of_unit(
    who: Signed,
    unit_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let (unit_id, as_of) = (*unit_id, Timestamp::now());
    let Query(filter) = filter;
    let terms = terms(
        filter.labour_per_hour,
        filter.hire_per_day,
        filter.discount_rate,
        filter.resale_kept,
        filter.years,
    );
    let (facts, mut costs) = who
        .read(async |tx| {
            let unit = unit::find(tx, unit_id).await?;
            let facts = facts::of_depot(tx, unit.depot_id, as_of).await?;
            let costs = costs::costs(tx, std::slice::from_ref(&facts), as_of).await?;
            Ok((facts, costs))
        })
        .await?;
    // A depot takes its time; others are answered meanwhile.
    let answered = web::block(move || {
        let costs = costs.remove(&facts.id).unwrap_or_default();
        renew(&facts, &costs, &terms, as_of)
    });
    let answered = answered.await.map_err(Problem::internal)??;
    let found = answered.into_iter().find(|unit| unit.unit_id == unit_id);
    Ok(Answer::value(&DatedRenewal {
        as_of,
        renewal: found.ok_or(Error::NotFound { what: "unit" })?,
    }))
}
