//! GET /v1/readiness/depots/{depot_id}

use actix_web::get;
use rimeyard_store::state;
use uuid::Uuid;

use super::shapes::DepotWithMachines;
use super::splice::{Version, machine, open, open_uncomputed_depot};
use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Say how ready one depot is, and each of its machines.
#[utoipa::path(
    tag = "readiness",
    responses((status = 200, description = "The depot with its machines, by unit id.", body = DepotWithMachines)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/readiness/depots/{depot_id}")]
pub async fn depot(who: Signed, depot_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who
        .read(async |tx| state::depot(tx, *depot_id).await)
        .await?;
    let mut version = Version::default();
    version.add_text(&found.depot.name);
    version.add(found.depot.shown.as_ref());
    let bytes = found
        .units
        .iter()
        .map(|(document, _)| document.len() + 128)
        .sum::<usize>();
    let mut body = String::with_capacity(bytes + 16 * 1024);
    match &found.depot.shown {
        Some(shown) => open(&mut body, shown),
        None => open_uncomputed_depot(&mut body, &found.depot),
    }
    body.push_str(r#","machines":["#);
    if let Some(shown) = &found.depot.shown {
        for (index, (document, check)) in found.units.iter().enumerate() {
            if index > 0 {
                body.push(',');
            }
            version.add_check(*check);
            machine(&mut body, shown, document);
        }
    }
    body.push_str("]}");
    Ok(Answer::text(body, version.etag()))
}
