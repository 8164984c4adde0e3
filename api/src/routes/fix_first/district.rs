//! GET /v1/fix-first

use actix_web::get;
use rimeyard_rules::fix_first::Meets;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::asked::{Minutes, Until};
use super::compute::{Answered, compute};
use crate::answer::Answer;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::routes::spares::{DEPOT_IDS, DepotIds};
use crate::signed::Signed;

/// What is asked.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At these depots; at all that you may see if absent.
    #[param(inline)]
    depot_ids: Option<DepotIds>,
    /// Minutes of labour there are, ways among them, for all these depots together; if absent those that their technicians
    /// have left.
    #[param(inline)]
    minutes: Option<Minutes>,
    /// The first day on which work comes too late; if absent each depot's own: that on which its storm starts, else its
    /// season's first, else a week from today.
    #[param(inline)]
    until: Option<Until>,
    /// A storm in progress or to come: depots that it does not touch are left out. Else each depot meets the one that its
    /// readiness is about.
    storm_id: Option<Uuid>,
}

/// Say what to fix first at several depots, and why.
///
/// As GET /v1/depots/{depot_id}/fix-first says it for one: here the minutes are shared out among depots so that their chances
/// of keeping up rise most in all. Whoever goes to a depot goes there once, whatever its kinds of work. At most 2,000 machines
/// are computed at once.
#[utoipa::path(
    tag = "plans",
    params(Filter),
    responses((status = 200, description = "The jobs, first first.", body = Answered)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/fix-first")]
pub async fn district(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let Filter {
        depot_ids,
        minutes,
        until,
        storm_id,
    } = filter.0;
    let meets = Meets {
        storm_id,
        until: until.map(|until| until.0),
    };
    let named = depot_ids.map(|ids| ids.0);
    let minutes = minutes.map(|minutes| minutes.0);
    let computed = compute(&who, named, meets, minutes, DEPOT_IDS).await?;
    Ok(Answer::value(&computed))
}
