//! POST /v1/people

use actix_web::post;
use rimeyard_store::person::{self, NewPerson, Person};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Create a person.
#[utoipa::path(
    tag = "people",
    responses((status = 201, description = "The person, as created.", body = Person)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[post("/v1/people")]
pub async fn create(who: Signed, body: Json<NewPerson>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let once = once.map(|once| once.told_by("POST /v1/people", &new));
    let hashed = super::hash(new.password.as_ref()).await?;
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let person = person::create(tx, &new, hashed.as_ref()).await?;
            Ok(Answer::created(
                format!("/v1/people/{}", person.id),
                &person,
                person.rev,
            ))
        })
        .await?;
    // Whoever was changed must feel it at once.
    who.state.people.forget_all();
    Ok(answer)
}
