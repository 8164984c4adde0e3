//! GET /v1/depots/{depot_id}/fix-first

use std::collections::BTreeSet;

use actix_web::get;
use rimeyard_rules::fix_first::Meets;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::asked::{Minutes, Until};
use super::compute::{Answered, compute};
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
    /// Minutes of labour there are, the way there among them; if absent those that the depot's technicians have left.
    #[param(inline)]
    minutes: Option<Minutes>,
    /// The first day on which work comes too late; if absent that on which the storm starts, else the season's first, else a
    /// week from today.
    #[param(inline)]
    until: Option<Until>,
    /// A storm in progress or to come that touches the depot; else the one that its readiness is about.
    storm_id: Option<Uuid>,
}

/// Say what to fix first at a depot, and why.
///
/// From what is stored: open findings, hold tags, inspections and starts that are owed, tasks due, parts that may not last,
/// spare fasteners, and open orders' lines. The order is the one by which the depot most likely keeps up with the storm after
/// the minutes that there are; the way there is spent first, once. Jobs whose parts come too late stand behind, with the day
/// on which they are there; of a part that is on no list nobody knows. With it when each machine can be ready, and the open
/// work against the hours left. `inputs` is what POST /v1/calculations/plan makes the same order from. At most 1,000 jobs are
/// answered; `left_out` says how many more there are. What is for safety is done before its machine runs, whatever its place
/// here; local codes and the maker's manual decide.
#[utoipa::path(
    tag = "plans",
    params(Filter),
    responses((status = 200, description = "The jobs, first first.", body = Answered)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/fix-first")]
pub async fn depot(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let Filter {
        minutes,
        until,
        storm_id,
    } = filter.0;
    let meets = Meets {
        storm_id,
        until: until.map(|until| until.0),
    };
    let only = Some(BTreeSet::from([*depot_id]));
    let minutes = minutes.map(|minutes| minutes.0);
    let computed = compute(&who, only, meets, minutes, "depot_id").await?;
    Ok(Answer::value(&computed))
}
