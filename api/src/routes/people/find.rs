//! GET /v1/people/{person_id}

use actix_web::get;
use rimeyard_store::person::{self, Person};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Find one person.
#[utoipa::path(
    tag = "people",
    responses((status = 200, description = "The person.", body = Person)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[get("/v1/people/{person_id}")]
pub async fn find(who: Signed, person_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| person::find(tx, *person_id).await)
        .await?;
    Ok(Answer::object(&found, found.rev))
}
