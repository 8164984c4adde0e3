//! GET /v1/due

use actix_web::get;
use rimeyard_rules::due::State;
use rimeyard_store::due::{self, UnitTask};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::place::DueCursor;
use crate::answer::Answer;
use crate::extract::{Day, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which tasks.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At most so many in a page.
    #[serde(default)]
    #[param(inline)]
    limit: Limit,
    /// The `next_cursor` of the page before.
    #[param(inline)]
    cursor: Option<DueCursor>,
    /// Of units that stand at this depot.
    depot_id: Option<Uuid>,
    /// Of this unit.
    unit_id: Option<Uuid>,
    /// That stand so.
    #[param(inline)]
    state: Option<State>,
    /// Whose date, the likeliest where running hours decide, is at latest this one.
    #[param(inline)]
    until: Option<Day>,
}

/// One page of tasks.
#[derive(Debug, Serialize, ToSchema)]
pub struct DuePage {
    /// The tasks by date, those without a date last.
    items: Vec<UnitTask>,
    /// Give it as `cursor` to get the next page; null on the last one.
    #[schema(inline)]
    next_cursor: Option<DueCursor>,
}

/// List the tasks of the machines you may see, by date: the longest overdue first.
///
/// A task appears with the trigger that decides: the most urgent of running hours, calendar and events. Where running
/// hours decide, `on` is the likeliest date and `early` and `late` are those it is reached by with chance 0.1 and 0.9.
/// What is put off stays in the list as `deferred`; a safety task is put off to the end of its window and no further.
#[utoipa::path(
    tag = "due",
    params(Filter),
    responses((status = 200, description = "One page of tasks.", body = DuePage)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/due")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = due::Filter {
        depot_id: filter.depot_id,
        unit_id: filter.unit_id,
        state: filter.state,
        until: filter.until.map(|day| day.0),
    };
    let after = filter.cursor.as_ref().map(|cursor| &cursor.0);
    let limit = filter.limit;
    let mut items = who
        .read(async |tx| due::list(tx, wanted, after, limit.and_one()).await)
        .await?;
    let more = items.len() > limit.get() as usize;
    items.truncate(limit.get() as usize);
    let last = items.last().filter(|_| more);
    let next_cursor = last.map(|last| DueCursor(last.place()));
    Ok(Answer::content(&DuePage { items, next_cursor }))
}
