//! GET /v1/tasks-done/{task_done_id}

use actix_web::get;
use rimeyard_store::task_done::{self, TaskDone};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find one task done.
#[utoipa::path(
    tag = "tasks done",
    responses((status = 200, description = "The task, as done.", body = TaskDone)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/tasks-done/{task_done_id}")]
pub async fn find(who: Signed, task_done_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| task_done::find(tx, *task_done_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
