//! GET /v1/readiness

use actix_web::get;
use rimeyard_store::state;
use serde::Deserialize;
use utoipa::IntoParams;

use super::shapes::DistrictReadiness;
use super::splice::{Version, open, open_uncomputed_depot};
use crate::answer::{Answer, Page};
use crate::extract::{Cursor, Limit, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// Which depots.
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
}

/// Say how ready the depots you may see are for their storms, by depot id.
#[utoipa::path(
    tag = "readiness",
    params(Filter),
    responses((status = 200, description = "One page of depots.", body = DistrictReadiness)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/readiness")]
pub async fn list(who: Signed, filter: Query<Filter>) -> Result<Answer, Problem> {
    let after = filter.cursor.map(Cursor::id);
    let depots = who
        .read(async |tx| state::depots(tx, after, filter.limit.and_one()).await)
        .await?;
    let page = Page::new(depots, filter.limit, |depot| depot.depot_id);
    let oldest = page
        .items
        .iter()
        .filter_map(|depot| Some(depot.shown.as_ref()?.as_of))
        .min();

    let mut version = Version::default();
    let mut body = String::from(r#"{"as_of":"#);
    push_json(&mut body, &oldest);
    body.push_str(r#","depots":["#);
    for (index, depot) in page.items.iter().enumerate() {
        if index > 0 {
            body.push(',');
        }
        version.add_text(&depot.name);
        version.add(depot.shown.as_ref());
        match &depot.shown {
            Some(shown) => open(&mut body, shown),
            None => open_uncomputed_depot(&mut body, depot),
        }
        body.push('}');
    }
    body.push_str(r#"],"next_cursor":"#);
    push_json(&mut body, &page.next_cursor);
    body.push('}');
    version.add_check(page.next_cursor.is_some().into());
    Ok(Answer::text(body, version.etag()))
}

fn push_json(body: &mut String, value: &impl serde::Serialize) {
    body.push_str(&serde_json::to_string(value).expect("instants and cursors are text or null"));
}
