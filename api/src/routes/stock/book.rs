//! POST /v1/depots/{depot_id}/stock/moves

use actix_web::post;
use rimeyard_store::Error;
use rimeyard_store::stock::{self, BookedMoves, NewStockMove};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::MECHANICS;
use crate::signed::Signed;

/// Book what came to a depot's shelf, was taken from it, counted on it, moved to another depot or lost.
///
/// A kit is booked as its contents. Which lot to take is suggested by GET, the oldest first, and not forced. More may be
/// taken than the books have: the level is then `short on paper`.
#[utoipa::path(
    tag = "stock",
    responses((status = 201, description = "The movements, as booked, and the levels they changed.", body = BookedMoves)),
    extensions(("x-roles" = json!(MECHANICS)))
)]
#[post("/v1/depots/{depot_id}/stock/moves")]
pub async fn book(
    who: Signed,
    depot_id: Path<Uuid>,
    body: Json<NewStockMove>,
) -> Result<Answer, Problem> {
    let (new, once) = body.into_parts();
    who.write_where(
        once,
        async |tx| {
            stock::scopes(tx, *depot_id, std::slice::from_ref(&new))
                .await
                .map_err(Error::of_the_first)
        },
        async |tx| {
            let booked = stock::record(tx, *depot_id, &new).await?;
            // A movement is never altered: its version is 1.
            Ok(Answer::created(
                format!("/v1/depots/{}/stock/moves", *depot_id),
                &booked,
                1,
            ))
        },
    )
    .await
}
