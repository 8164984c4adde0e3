//! POST /v1/storms

use actix_web::post;
use rimeyard_store::Tx;
use rimeyard_store::storm::{self, NewStorm, Storm};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::LEADS;
use crate::signed::Signed;

/// Enter a storm for depots that you may see.
#[utoipa::path(
    tag = "storms",
    responses((status = 201, description = "The storm, as entered.", body = Storm)),
    extensions(("x-roles" = json!(LEADS)))
)]
#[post("/v1/storms")]
pub async fn create(who: Signed, body: Json<NewStorm>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let scopes = async |tx: &Tx<'_>| {
        storm::exist(tx, &new.depots).await?;
        Ok(new.depots.clone())
    };
    who.write_where(once, scopes, async |tx| {
        let storm = storm::create(tx, &new).await?;
        Ok(Answer::created(format!("/v1/storms/{}", storm.id), &storm, storm.rev).of_reader())
    })
    .await
}
