//! POST /v1/sync/pull

use actix_web::post;
use rimeyard_store::feed::{self, Page, Pull};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Get everything that changed since the cursors you have.
///
/// A scope is one depot, or the organisation with what all depots share. The first time send `{}`: every scope you may
/// see comes from its beginning. Keep each entry's `doc` by its scope, `kind` and `id`, drop those `deleted`, keep
/// `epoch` and each scope's `cursor`, and send both the next time; while `more` is true, at once. A scope that is
/// `revoked` is to be dropped with all it holds; one that is `reset` likewise, before its entries are taken.
///
/// **How to prove that nothing was lost.** An entry's `check` is the first 8 bytes of SHA-256 of `kind:id:rev:` (id as
/// lower-case hyphenated UUID, rev in decimal) followed by `doc` as the bytes that came, in 16 lower-case hex digits;
/// so keep `doc` as it came. Once a scope's `cursor` is its `head`, the XOR of the checks of all entries held of it
/// that are not deleted must be its `digest`. If it is not, drop the scope, read it again from cursor 0, and report
/// it.
#[utoipa::path(
    tag = "sync",
    responses((status = 200, description = "One page of each scope you may see.", body = Page)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/v1/sync/pull")]
pub async fn pull(who: Signed, body: Json<Pull>) -> Result<Answer, Problem> {
    let page = who.read(async |tx| feed::pull(tx, &body).await).await?;
    // What a phone is to prove complete by its bytes comes as it is kept.
    Ok(Answer::value(&page).exact())
}
