//! GET /v1/default-sheets/{kind}

use actix_web::get;
use rimeyard_rules::sheet::{Sheet, default_sheet};

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Find the sheet that a new model of a kind of machine starts from.
#[utoipa::path(
    tag = "sheets",
    responses((status = 200, description = "The default sheet.", body = Sheet)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/default-sheets/{kind}")]
pub async fn default(_who: Signed, kind: Path<String>) -> Result<Answer, Problem> {
    let sheet = default_sheet(&kind).ok_or_else(Problem::not_found)?;
    Ok(Answer::content(&sheet))
}
