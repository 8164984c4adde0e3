//! GET /v1/depots/{depot_id}/fix-first

use std::collections::BTreeSet;

use actix_web::get;
use rimeyard_rules::first::FixFirst;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::compute::{Minutes, Until, compute};
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
    /// The day by which work counts. If absent that on which the storm starts, else the season, else a week from now.
    #[param(inline)]
    until: Option<Until>,
    /// Minutes of labour there are, travel in them; if absent the technicians' hours until then.
    #[param(inline)]
    minutes: Option<Minutes>,
}

/// Say what to fix first at a depot: the jobs that make it likeliest to keep up, in their order.
///
/// Jobs are open findings, hold tags, tasks that are due, inspections and proof starts that are missing, parts that may not
/// see the season out, spare shear fasteners. Each comes with its minutes, its parts and where they are, and why; what
/// waits for parts or does not fit stands under `open`. With it when each machine can be ready, and the hours of open work
/// against the hours left. What is for safety is done before its machine runs, whatever its place here; local codes and the
/// maker's manual decide.
#[utoipa::path(
    tag = "plans",
    params(Filter),
    responses((status = 200, description = "The plan, as things stand now.", body = FixFirst)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/fix-first")]
pub async fn depot(
    who: Signed,
    depot_id: Path<Uuid>,
    filter: Query<Filter>,
) -> Result<Answer, Problem> {
    let Filter { until, minutes } = filter.0;
    let named = BTreeSet::from([*depot_id]);
    let plan = compute(&who, Some(named), until, minutes, "depot_id").await?;
    Ok(Answer::value(&plan))
}
