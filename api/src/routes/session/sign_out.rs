//! POST /v1/sign-out

use actix_web::{HttpResponse, post};
use rimeyard_store::door;

use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Sign out.
///
/// The session's tokens are worth nothing from now on; other sessions of the same person go on. A depot system's key has
/// no session: it goes on until it is revoked.
#[utoipa::path(
    tag = "session",
    responses((status = 204, description = "Signed out.")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/v1/sign-out")]
pub async fn sign_out(who: Signed) -> Result<HttpResponse, Problem> {
    door::end_session(&who.state.database, who.org_id, who.session).await?;
    who.state.people.forget_all();
    Ok(HttpResponse::NoContent().finish())
}
