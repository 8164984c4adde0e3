//! GET /v1/me and the public keys.

use actix_web::get;
use actix_web::web::Data;
use rimeyard_store::{Depots, organisation, person};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use crate::answer::Answer;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;
use crate::state::State;

/// Who one is.
#[derive(Debug, Serialize, ToSchema)]
pub struct Me {
    /// The person.
    person_id: Uuid,
    /// Their name.
    name: String,
    /// The organisation.
    org_id: Uuid,
    /// The organisation's name.
    organisation: String,
    /// What one may do.
    #[schema(example = "depot lead")]
    role: &'static str,
    /// Whether every depot is granted.
    all_depots: bool,
    /// The depots granted, when not all are.
    depots: Vec<Uuid>,
}

/// Ask who you are and what you may do.
#[utoipa::path(
    tag = "session",
    responses((status = 200, description = "You.", body = Me)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/me")]
pub async fn me(who: Signed) -> Result<Answer, Problem> {
    let person_id = who
        .person_id
        .ok_or_else(|| Problem::internal("someone signed in who is nobody"))?;
    let (person, organisation) = who
        .read(async |tx| futures::try_join!(person::find(tx, person_id), organisation::name(tx)))
        .await?;
    let (all_depots, depots) = match &who.depots {
        Depots::All => (true, Vec::new()),
        Depots::Some(granted) => (false, granted.iter().copied().collect()),
    };
    Ok(Answer::content(&Me {
        person_id,
        name: person.name,
        org_id: who.org_id,
        organisation,
        role: who.role.as_str(),
        all_depots,
        depots,
    }))
}

/// Get the public keys that access tokens are signed with (RFC 7517).
#[utoipa::path(
    tag = "session",
    responses((status = 200, description = "A JSON Web Key Set.", body = Object)),
    security(())
)]
#[get("/.well-known/jwks.json")]
pub async fn jwks(state: Data<State>) -> Result<Answer, Problem> {
    Ok(Answer::content(&state.keys().await?.jwks()))
}
