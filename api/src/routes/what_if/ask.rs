//! POST /v1/depots/{depot_id}/what-if

use actix_web::{post, web};
use jiff::Timestamp;
use rimeyard_rules::what_if::{Supposed, WhatIf, what_if};
use rimeyard_store::facts;
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Json, Path};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Say how ready a depot would be if.
///
/// Another storm, machines left out, machines put right, other operators; what is absent is as it stands, so `{}` is the depot
/// as it is. Nothing is stored, and what is supposed teaches nothing of the machines.
#[utoipa::path(
    tag = "what-if",
    responses((status = 200, description = "The depot with its machines, as its readiness would show them.", body = WhatIf)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[post("/v1/depots/{depot_id}/what-if")]
pub async fn ask(
    who: Signed,
    depot_id: Path<Uuid>,
    body: Json<Supposed>,
) -> Result<Answer, Problem> {
    let (supposed, _) = body.into_parts();
    let as_of = Timestamp::now();
    let facts = who
        .read(async |tx| facts::of_depot(tx, *depot_id, as_of).await)
        .await?;
    // A depot takes its time; others are answered meanwhile.
    let told = web::block(move || what_if(&facts, &supposed, as_of)).await;
    let told = told.map_err(Problem::internal)?.map_err(Problem::invalid)?;
    Ok(Answer::value(&told))
}
