//! GET /v1/audit

use actix_web::get;
use rimeyard_rules::Invalid;
use rimeyard_store::audit::{self, Audited};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::ADMINISTRATORS;
use crate::signed::Signed;

/// Which changes.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Filter {
    /// At most so many in a page.
    #[serde(default)]
    #[param(inline)]
    limit: Limit,
    /// The `next_cursor` of the page before.
    #[param(inline)]
    cursor: Option<Cursor>,
    /// By this person.
    person_id: Option<Uuid>,
    /// Through this phone.
    device_id: Option<Uuid>,
    /// To something of this kind, `object_id`.
    object_kind: Option<String>,
    /// To this, which is of the kind `object_kind`.
    object_id: Option<Uuid>,
}

/// List what was changed, the newest first: who did what to which object, through which session or phone.
#[utoipa::path(
    tag = "audit",
    params(Filter),
    responses((status = 200, description = "One page of changes.", body = Page<Audited>)),
    extensions(("x-roles" = json!(ADMINISTRATORS)))
)]
#[get("/v1/audit")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let Query(filter) = filter;
    let object = match (filter.object_kind, filter.object_id) {
        (Some(kind), Some(id)) => Some((kind, id)),
        (None, None) => None,
        (None, Some(_)) => return Err(missing("object_kind")),
        (Some(_), None) => return Err(missing("object_id")),
    };
    let wanted = audit::Filter {
        person_id: filter.person_id,
        device_id: filter.device_id,
        object,
    };
    let before = filter.cursor.map(Cursor::id);
    let limit = filter.limit;
    let items = who
        .read(async |tx| audit::list(tx, wanted, before, limit.and_one()).await)
        .await?;
    // It is evidence: as it was noted, whoever reads it.
    Ok(Answer::content(&Page::new(items, limit, |item| item.id)).exact())
}

fn missing(field: &str) -> Problem {
    let problem = "is missing: object_kind and object_id name an object together";
    Problem::malformed(vec![Invalid::new(field, problem)])
}
