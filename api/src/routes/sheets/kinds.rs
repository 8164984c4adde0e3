//! GET /v1/default-sheets

use actix_web::get;
use rimeyard_rules::sheet::{Work, default_kinds, default_sheet};
use serde::Serialize;
use utoipa::ToSchema;

use crate::answer::{Answer, Page};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// A kind of machine that has a default sheet and checklist.
#[derive(Debug, Serialize, ToSchema)]
pub struct DefaultKind {
    /// What it is called; the default sheet is at `/v1/default-sheets/{kind}`.
    #[schema(example = "power broom")]
    kind: &'static str,
    /// What its default sheet can be rigged for.
    works: Vec<Work>,
}

/// List the kinds of machine that have a default sheet and checklist.
#[utoipa::path(
    tag = "sheets",
    responses((status = 200, description = "All of them, on one page.", body = Page<DefaultKind>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/default-sheets")]
pub async fn kinds(_who: Signed) -> Result<Answer, Problem> {
    let items = default_kinds()
        .filter_map(|kind| {
            let works = default_sheet(kind)?.works;
            Some(DefaultKind { kind, works })
        })
        .collect();
    Ok(Answer::content(&Page {
        items,
        next_cursor: None,
    }))
}
