//! POST /v1/keys/{key_id}/revoke

use actix_web::post;
use rimeyard_store::access_key::{self, AccessKey};
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Nothing is to be said: `{}`.
#[derive(Debug, Deserialize, ToSchema)]
#[schema(as = KeyRevocation)]
#[serde(deny_unknown_fields)]
pub struct Revocation {}

/// End a key: within seconds it opens nothing.
#[utoipa::path(
    tag = "keys",
    responses((status = 200, description = "The key, as ended.", body = AccessKey)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/keys/{key_id}/revoke")]
pub async fn revoke(
    who: Signed,
    key_id: Path<Uuid>,
    body: Json<Revocation>,
) -> Result<Answer, Problem> {
    let (_, once) = body.into_parts();
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let key = access_key::revoke(tx, *key_id).await?;
            Ok(Answer::object(&key, key.rev))
        })
        .await?;
    who.state.people.forget_all();
    Ok(answer)
}
