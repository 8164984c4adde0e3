//! POST /v1/units/{unit_id}/tasks-done

use actix_web::post;
use rimeyard_store::task_done::{self, NewTaskDone, TaskDone};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::INSPECTORS;
use crate::signed::Signed;

/// Record that a task of the unit's sheet was done.
///
/// It is never changed: a correction is a new fact that names the one it corrects. An inspection that answers all the
/// checks a task names, none of them unserviceable, and a new part that it renews, are the task done without a word here.
#[utoipa::path(
    tag = "tasks done",
    responses((status = 201, description = "The task, as done.", body = TaskDone)),
    extensions(("x-roles" = json!(INSPECTORS)))
)]
#[post("/v1/units/{unit_id}/tasks-done")]
pub async fn create(
    who: Signed,
    unit_id: Path<Uuid>,
    body: Json<NewTaskDone>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| task_done::scopes(tx, *unit_id, &new).await,
        async |tx| {
            let done = task_done::record(tx, *unit_id, &new).await?;
            Ok(Answer::created(
                format!("/v1/tasks-done/{}", done.id),
                &done,
                done.rev,
            ))
        },
    )
    .await
}
