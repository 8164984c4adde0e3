//! GET /v1/imports/{import_id}

use actix_web::get;
use rimeyard_store::import::{self, Import};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// See how far an import has come.
#[utoipa::path(
    tag = "imports",
    responses((status = 200, description = "The import.", body = Import)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[get("/v1/imports/{import_id}")]
pub async fn find(who: Signed, import_id: Path<Uuid>) -> Result<Answer, Problem> {
    let import = who
        .read(async |tx| import::find(tx, *import_id).await)
        .await?;
    Ok(Answer::content(&import))
}
