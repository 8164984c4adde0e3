//! POST /v1/keys

use std::cell::RefCell;

use actix_web::post;
use rimeyard_store::access_key::{self, AccessKey, NewAccessKey};
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// A key as it is made.
#[derive(Serialize, ToSchema)]
pub struct MadeKey {
    /// The secret, to be sent as `Authorization: Bearer`. It is told this once; a request repeated under its
    /// Idempotency-Key is answered without: then revoke the key and make another.
    key: Option<String>,
    #[serde(flatten)]
    shown: AccessKey,
}

/// Make a key for a depot system: a program sends it in place of signing in.
///
/// It reads what the depot system is granted and writes what `may_write` names. The secret is told in this answer and
/// never again.
#[utoipa::path(
    tag = "keys",
    responses((status = 201, description = "The key, with its secret.", body = MadeKey)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/keys")]
pub async fn create(who: Signed, body: Json<NewAccessKey>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let made = |key: Option<String>, shown: AccessKey| {
        let (id, rev) = (shown.id, shown.rev);
        Answer::created(format!("/v1/keys/{id}"), &MadeKey { key, shown }, rev).secret()
    };
    // What is kept with an Idempotency-Key must not hold the secret: it is put in after the write.
    let told = RefCell::new(None);
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let (shown, secret) = access_key::create(tx, &new).await?;
            told.replace(Some((shown.clone(), secret)));
            Ok(made(None, shown))
        })
        .await?;
    Ok(match told.into_inner() {
        Some((shown, secret)) => made(Some(secret), shown),
        None => answer,
    })
}
