//! GET /v1/keys/{key_id}

use actix_web::get;
use rimeyard_store::access_key::{self, AccessKey};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Show a key, but for what is secret in it.
#[utoipa::path(
    tag = "keys",
    responses((status = 200, description = "The key.", body = AccessKey)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[get("/v1/keys/{key_id}")]
pub async fn find(who: Signed, key_id: Path<Uuid>) -> Result<Answer, Problem> {
    let key = who
        .read(async |tx| access_key::find(tx, *key_id).await)
        .await?;
    // When it was last used is no change of it, and seen all the same.
    Ok(Answer::object(&key, key.rev).of_reader())
}
