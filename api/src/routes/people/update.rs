//! PATCH /v1/people/{person_id}

use actix_web::patch;
use rimeyard_store::person::{self, Person, PersonChange};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{IfMatch, Json, Path};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Change a person.
///
/// A field that is absent stays as it is. A new password, or `active` set to false, ends all sessions; another role
/// ends those of their phones, which are to be enrolled anew.
#[utoipa::path(
    tag = "people",
    responses((status = 200, description = "The person, as changed.", body = Person)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[patch("/v1/people/{person_id}")]
pub async fn update(
    who: Signed,
    Path(person_id): Path<Uuid>,
    body: Json<PersonChange>,
    IfMatch(rev): IfMatch,
) -> Result<Answer, Problem> {
    let (change, once) = body.into_parts();
    let once = once.map(|once| once.told_by(&format!("PATCH /v1/people/{person_id}"), &change));
    let hashed = super::hash(change.password.as_ref()).await?;
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let person = person::update(tx, person_id, rev, &change, hashed.as_ref()).await?;
            Ok(Answer::object(&person, person.rev))
        })
        .await?;
    // Whoever was changed must feel it at once.
    who.state.people.forget_all();
    Ok(answer)
}
