//! GET /v1/alerts

use actix_web::get;
use rimeyard_rules::alerts::AlertKind;
use rimeyard_store::alert::{self, Alert};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which alerts.
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
    /// Of this depot.
    depot_id: Option<Uuid>,
    /// About this unit.
    unit_id: Option<Uuid>,
    /// Of this kind.
    #[param(inline)]
    kind: Option<AlertKind>,
    /// Open, or cleared.
    open: Option<bool>,
    /// Told to the district, or not.
    escalated: Option<bool>,
    /// Taken up by a person, or not.
    acknowledged: Option<bool>,
}

/// List the alerts you may see, by id, which is by when they were opened.
#[utoipa::path(
    tag = "alerts",
    params(Filter),
    responses((status = 200, description = "One page of alerts.", body = Page<Alert>)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/alerts")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let wanted = alert::Filter {
        depot_id: filter.depot_id,
        unit_id: filter.unit_id,
        kind: filter.kind,
        open: filter.open,
        escalated: filter.escalated,
        acknowledged: filter.acknowledged,
    };
    let after = filter.cursor.map(Cursor::id);
    let items = who
        .read(async |tx| alert::list(tx, wanted, after, filter.limit.and_one()).await)
        .await?;
    Ok(Answer::content(&Page::new(items, filter.limit, |item| {
        item.id
    })))
}
