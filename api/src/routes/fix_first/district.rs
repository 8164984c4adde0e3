//! GET /v1/fix-first

use actix_web::get;
use rimeyard_rules::first::FixFirst;
use serde::Deserialize;
use utoipa::IntoParams;

use super::compute::{Minutes, Until, compute};
use crate::answer::Answer;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::routes::spares::asked::DepotIds;
use crate::routes::spares::compute::DEPOT_IDS;
use crate::signed::Signed;

/// What is asked.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// For these depots; for all that you may see if absent.
    #[param(inline)]
    depot_ids: Option<DepotIds>,
    /// The day by which work counts. If absent each depot's own: that on which its storm starts, else its season, else a
    /// week from now.
    #[param(inline)]
    until: Option<Until>,
    /// Minutes of labour there are for all of them together, travel in them; if absent their technicians' hours until then.
    #[param(inline)]
    minutes: Option<Minutes>,
}

/// Say what to fix first at several depots: where an hour of labour does most.
///
/// As GET /v1/depots/{depot_id}/fix-first, with one pool of minutes for all depots; the way to a depot is paid once for each
/// kind of work that has a job there. At most 2,000 machines are computed at once.
#[utoipa::path(
    tag = "plans",
    params(Filter),
    responses((status = 200, description = "The plan, as things stand now.", body = FixFirst)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/fix-first")]
pub async fn district(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let Filter {
        depot_ids,
        until,
        minutes,
    } = filter.0;
    let named = depot_ids.map(|ids| ids.0);
    let plan = compute(&who, named, until, minutes, DEPOT_IDS).await?;
    Ok(Answer::value(&plan))
}
