//! GET /v1/tasks-done

use actix_web::get;
use rimeyard_store::task_done::{self, TaskDone};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which tasks done.
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
    cursor: Option<Cursor>,
    /// Of this unit.
    unit_id: Option<Uuid>,
    /// Received while the unit stood at this depot.
    depot_id: Option<Uuid>,
    /// Of this task.
    task: Option<String>,
}

/// List the tasks done that you may see, by id, which is by when they were noted.
#[utoipa::path(
    tag = "tasks done",
    params(Filter),
    responses((status = 200, description = "One page of tasks done.", body = Page<TaskDone>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/tasks-done")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = task_done::Filter {
        unit_id: filter.unit_id,
        depot_id: filter.depot_id,
        task: filter.task.clone(),
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| task_done::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
