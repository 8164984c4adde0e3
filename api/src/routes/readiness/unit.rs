//! GET /v1/readiness/units/{unit_id}

use actix_web::get;
use rimeyard_store::state;
use uuid::Uuid;

use super::shapes::UnitWithInputs;
use super::splice::{Version, open, open_uncomputed_unit};
use crate::answer::Answer;
use crate::extract::Path;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Say how ready one unit is, why, and from what that was computed.
///
/// `inputs` is what `POST /v1/calculations/unit` takes: whoever wants to check the figures sends it there.
#[utoipa::path(
    tag = "readiness",
    responses((status = 200, description = "The unit.", body = UnitWithInputs)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/readiness/units/{unit_id}")]
pub async fn unit(who: Signed, unit_id: Path<Uuid>) -> Result<Answer, Problem> {
    let found = who.read(async |tx| state::unit(tx, *unit_id).await).await?;
    let mut version = Version::default();
    version.add_text(&found.tag);
    version.add(found.shown.as_ref());
    let mut body = String::new();
    match &found.shown {
        Some(shown) => open(&mut body, shown),
        None => open_uncomputed_unit(&mut body, &found),
    }
    body.push_str(r#","inputs":"#);
    body.push_str(found.inputs.as_deref().unwrap_or("null"));
    body.push('}');
    Ok(Answer::text(body, version.etag()))
}
