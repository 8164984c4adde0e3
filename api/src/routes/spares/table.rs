//! GET /v1/season-buy/table

use std::collections::BTreeMap;

use actix_web::{HttpResponse, get};
use rimeyard_rules::buy::{SpareLevel, SpareLine};
use rimeyard_rules::table::writer::{guard, write_row};
use uuid::Uuid;

use super::season_buy::Filter;
use crate::csv;
use crate::extract::Query;
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

const HEADER: [&str; 24] = [
    "number",
    "name",
    "unit",
    "depot",
    "depot id",
    "level",
    "certain",
    "mean",
    "worst winter",
    "mean in worst winter",
    "on hand",
    "past shelf life",
    "on order",
    "order",
    "cost in minor units",
    "currency",
    "stops a unit",
    "service level",
    "until",
    "fitted",
    "pack size",
    "lead time days",
    "order by",
    "why",
];

/// What stands for a depot's name where one store is meant for all of them.
const TOGETHER: &str = "all together";

/// Download what to keep and to buy as a table.
///
/// It holds what GET /v1/season-buy says: of each part a row for one store for all depots (`all together`), with the reason,
/// and one for each depot that keeps its own.
#[utoipa::path(
    tag = "spares",
    params(Filter),
    responses((status = 200, description = "The parts they need.", body = String, content_type = "text/csv")),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/season-buy/table")]
pub async fn table(who: Signed, filter: Query<Filter>) -> Result<HttpResponse, Problem> {
    let computed = filter.0.compute(&who).await?;
    let mut table = String::new();
    write_row(&mut table, HEADER);
    let names = computed.depots.iter();
    let names: BTreeMap<Uuid, &str> = names
        .map(|depot| (depot.depot_id, depot.name.as_str()))
        .collect();
    for line in &computed.buy.lines {
        let part = &line.pooled;
        let together = row(
            part,
            TOGETHER,
            String::new(),
            &part.level,
            guard(&part.because),
        );
        write_row(&mut table, together.iter().map(String::as_str));
        for local in &line.local {
            let name = guard(names.get(&local.depot_id).copied().unwrap_or_default());
            let id = local.depot_id.to_string();
            let own = row(part, &name, id, &local.level, String::new());
            write_row(&mut table, own.iter().map(String::as_str));
        }
    }
    Ok(csv::answer("season-buy").body(table))
}

fn row(
    part: &SpareLine,
    depot: &str,
    depot_id: String,
    level: &SpareLevel,
    because: String,
) -> [String; 24] {
    let (winter, worst) = level
        .worst_winter
        .as_ref()
        .map_or_else(Default::default, |worst| {
            (worst.winter.clone(), worst.mean.to_string())
        });
    let cost = level.cost.as_ref();
    [
        guard(&part.number),
        guard(&part.name),
        guard(&part.unit),
        depot.to_owned(),
        depot_id,
        level.stock.to_string(),
        level.certain.to_string(),
        level.mean.to_string(),
        winter,
        worst,
        level.on_hand.to_string(),
        level.past_shelf_life.to_string(),
        level.on_order.to_string(),
        level.order.to_string(),
        cost.map_or_else(String::new, |cost| cost.amount_minor.to_string()),
        cost.map_or_else(String::new, |cost| cost.currency.clone()),
        if part.stops { "yes" } else { "no" }.to_owned(),
        part.service_level.to_string(),
        part.until.to_string(),
        part.fitted.to_string(),
        part.pack_size.to_string(),
        part.lead_time_days.to_string(),
        part.order_by.map_or_else(String::new, |by| by.to_string()),
        because,
    ]
}
