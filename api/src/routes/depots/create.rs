//! POST /v1/depots

use actix_web::post;
use rimeyard_store::depot::{self, Depot, NewDepot};

use crate::answer::Answer;
use crate::extract::Json;
use crate::problem::Problem;
use crate::roles::DISTRICT;
use crate::signed::Signed;

/// Create a depot.
///
/// Whoever is granted named depots only is granted the new one, too.
#[utoipa::path(
    tag = "depots",
    responses((status = 201, description = "The depot, as created.", body = Depot)),
    extensions(("x-roles" = json!(DISTRICT)))
)]
#[post("/v1/depots")]
pub async fn create(who: Signed, body: Json<NewDepot>) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    let answer = who
        .write(once, &[who.org_id], async |tx| {
            let depot = depot::create(tx, &new).await?;
            Ok(Answer::created(
                format!("/v1/depots/{}", depot.id),
                &depot,
                depot.rev,
            ))
        })
        .await?;
    // Who made it may have been granted it just now.
    who.state.people.forget_all();
    Ok(answer)
}
