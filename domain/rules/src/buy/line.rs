//! The lines of a list to buy from.

use std::collections::{BTreeMap, BTreeSet};

use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::level::{Level, levels};
use super::shelf::{OnHand, ShelfLot, Shelves};
use super::together::Together;
use super::words::because;
use super::{Catalogue, Cost, DepotDemand, Listed, Service};
use crate::calculations::spares::{Breaks, Input, WinterInput};
use crate::season::Winter;

/// How many of a part are to be there, are there, and are to be ordered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct SpareLevel {
    /// How many are to be there: enough to the last day with the service level's chance, what is certain among them.
    pub stock: i64,
    /// What open orders want, and what goes into kits: needed for certain.
    pub certain: i64,
    /// Mean demand, what is certain among it, to 0.01.
    pub mean: f64,
    /// The past winter that would ask for most; null where no winter is on record.
    pub worst_winter: Option<WinterMean>,
    /// How many are on the shelf and good to the last day.
    pub on_hand: i64,
    /// How many more are there whose shelf life ends before: they do not count.
    pub past_shelf_life: i64,
    /// What is on its way, as the asker said.
    pub on_order: i64,
    /// What is to be ordered, in whole packs.
    pub order: i64,
    /// What that costs; null where the part has no price.
    pub cost: Option<Cost>,
}

/// What a past winter would ask for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct WinterMean {
    /// Which, by the years it began and ended in.
    #[cfg_attr(feature = "schema", schema(example = "2019/20"))]
    pub winter: String,
    /// Mean demand in such a winter, to 0.01.
    pub mean: f64,
}

/// A part of the list, with its level.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct SpareLine {
    /// The part of the list.
    pub part_id: Uuid,
    /// Its number.
    pub number: String,
    /// What sheets call it.
    pub name: String,
    /// What it is counted in.
    pub unit: String,
    /// Whether a unit stands without it: its lack has the effect `stop` or `hold`.
    pub stops: bool,
    /// The chance with which the level is enough.
    pub service_level: f64,
    /// The last day that it is to be enough for.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// How many fitted parts take it when they are renewed, those aside that an open order renews.
    pub fitted: u32,
    /// How many of these nobody ever measured nor knows the age of: going to look is worth it.
    pub never_measured: u32,
    /// How many machines break it as a shear fastener.
    pub breaking: u32,
    /// How many come in a pack.
    pub pack_size: i64,
    /// From order to arrival, days.
    pub lead_time_days: i32,
    /// By when to order, to have it when the season begins; null while one is running.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub order_by: Option<Date>,
    #[serde(flatten)]
    #[expect(missing_docs, reason = "its fields are told one by one")]
    pub level: SpareLevel,
    /// Why, for a storekeeper.
    pub because: String,
    /// What POST /v1/calculations/spares takes to answer `stock` less `certain`; only where one part was asked for, and
    /// null where it breaks at several models' rates.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inputs: Option<Input>,
}

/// A part's level at one depot, each depot keeping its own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LocalLevel {
    /// The depot.
    pub depot_id: Uuid,
    #[serde(flatten)]
    #[expect(missing_docs, reason = "its fields are told one by one")]
    pub level: SpareLevel,
}

/// A part of the list for several depots: the level they need together, from one store, and the levels they need apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct BuyLine {
    #[serde(flatten)]
    #[expect(missing_docs, reason = "its fields are told one by one")]
    pub pooled: SpareLine,
    /// Of each depot that needs it or has it, the level it needs by itself. What is on order is in the pooled one only.
    pub local: Vec<LocalLevel>,
    /// How many fewer are to be there in one store than on all shelves together. Less than nothing where a depot alone
    /// comes out lower by luck of whole numbers.
    pub pooling_saves: i64,
}

/// What several depots need.
#[derive(Debug, Clone, PartialEq)]
pub struct SeasonBuy {
    /// What is to be bought first, of that what a unit stands without; then by name.
    pub lines: Vec<BuyLine>,
    /// What their sheets' jobs take that the list does not have, in words.
    pub not_listed: Vec<String>,
}

/// How many to order so that `stock` are there or on their way: in whole packs, and none where there are enough.
pub fn order(stock: i64, on_hand: i64, on_order: i64, pack_size: i64) -> i64 {
    let missing = stock
        .saturating_sub(on_hand)
        .saturating_sub(on_order)
        .max(0);
    let pack_size = pack_size.max(1);
    (missing / pack_size + i64::from(missing % pack_size > 0)).saturating_mul(pack_size)
}

/// The list to buy from for these depots, each and together; `on_order` is what is on its way to them of each part. Parts
/// that are not needed are left out.
pub fn season_buy(
    depots: &[DepotDemand],
    lots: &[ShelfLot],
    catalogue: &Catalogue,
    service: Service,
    on_order: &BTreeMap<Uuid, i64>,
) -> SeasonBuy {
    let shelves = Shelves::new(lots);
    let all = Together::new(depots.iter().collect());
    let apart: Vec<(&DepotDemand, BTreeMap<Uuid, Level>)> = depots
        .iter()
        .map(|depot| {
            (
                depot,
                levels(&Together::new(vec![depot]), catalogue, service),
            )
        })
        .collect();
    let mut lines: Vec<BuyLine> = levels(&all, catalogue, service)
        .into_iter()
        .filter_map(|(id, level)| {
            let part = catalogue.parts.get(&id).filter(|_| level.stock() > 0)?;
            let place = |depot: &DepotDemand| {
                let last_day = depot.last_day(catalogue, id);
                shelves.on_hand(depot.depot_id, id, part.shelf_life_days, last_day)
            };
            let mut local = Vec::new();
            let mut on_hand = OnHand::default();
            let mut kept_apart = 0_i64;
            let none = Level::default();
            for (depot, levels) in &apart {
                let (own, here) = (levels.get(&id).unwrap_or(&none), place(depot));
                on_hand.add(here);
                kept_apart = kept_apart.saturating_add(own.stock());
                if own.stock() > 0 || here != OnHand::default() {
                    local.push(LocalLevel {
                        depot_id: depot.depot_id,
                        level: spare_level(part, own, here, 0),
                    });
                }
            }
            let on_order = on_order.get(&id).copied().unwrap_or(0);
            Some(BuyLine {
                pooling_saves: kept_apart.saturating_sub(level.stock()),
                pooled: line(&all, catalogue, part, &level, on_hand, on_order),
                local,
            })
        })
        .collect();
    lines.sort_by(|one, other| {
        let rank = |line: &BuyLine| {
            let bought_apart = line.local.iter().any(|local| local.level.order > 0);
            let buys = line.pooled.level.order > 0;
            (!buys, !bought_apart, !line.pooled.stops)
        };
        let name = |line: &BuyLine| (line.pooled.name.clone(), line.pooled.part_id);
        rank(one)
            .cmp(&rank(other))
            .then_with(|| name(one).cmp(&name(other)))
    });
    let not_listed: BTreeSet<&String> = depots.iter().flat_map(|depot| &depot.not_listed).collect();
    SeasonBuy {
        lines,
        not_listed: not_listed.into_iter().cloned().collect(),
    }
}

fn line(
    all: &Together<'_>,
    catalogue: &Catalogue,
    part: &Listed,
    level: &Level,
    on_hand: OnHand,
    on_order: i64,
) -> SpareLine {
    let until = all
        .depots()
        .map(|depot| depot.last_day(catalogue, part.id))
        .max();
    let first = all
        .depots()
        .filter(|depot| depot.today < depot.season.starts);
    let first = first.map(|depot| depot.season.starts).min();
    let all_before = all.depots().all(|depot| depot.today < depot.season.starts);
    let lead_time = jiff::Span::new().days(part.lead_time_days);
    let order_by = first.filter(|_| all_before);
    let order_by = order_by.and_then(|starts| starts.checked_sub(lead_time).ok());
    let mut line = SpareLine {
        part_id: part.id,
        number: part.number.clone(),
        name: part.name.clone(),
        unit: part.unit.clone(),
        stops: level.stops,
        service_level: level.service_level,
        until: until.unwrap_or(Date::MAX),
        fitted: level.sum.fitted,
        never_measured: level.sum.never_measured,
        breaking: level.sum.breaking,
        pack_size: part.pack_size,
        lead_time_days: part.lead_time_days,
        order_by,
        level: spare_level(part, level, on_hand, on_order),
        because: String::new(),
        inputs: inputs(level),
    };
    let today = all.depots().map(|depot| depot.today).max();
    line.because = because(&line, level, on_hand, today.unwrap_or(Date::MIN));
    line
}

fn spare_level(part: &Listed, level: &Level, on_hand: OnHand, on_order: i64) -> SpareLevel {
    let order = order(level.stock(), on_hand.good, on_order, part.pack_size);
    SpareLevel {
        stock: level.stock(),
        certain: level.certain(),
        mean: hundredths(level.mean),
        worst_winter: level.worst.map(|(winter, mean)| WinterMean {
            winter: years(winter),
            mean: hundredths(mean),
        }),
        on_hand: on_hand.good,
        past_shelf_life: on_hand.past,
        on_order,
        order,
        cost: part.price.as_ref().map(|price| price.times(order)),
    }
}

/// What the calculation takes, where it can say it: with one break rate in all winters.
fn inputs(level: &Level) -> Option<Input> {
    let winters = &level.sum.by_winter;
    let rates = winters
        .iter()
        .filter_map(|winter| Some(winter.breaks?.rate));
    let mut rates: Vec<_> = rates.collect();
    rates.dedup();
    let rate = match rates.as_slice() {
        [] => None,
        [rate] => Some(*rate),
        _ => return None,
    };
    Some(Input {
        wear_out: None,
        winters: Some(
            winters
                .iter()
                .map(|winter| WinterInput {
                    wear_out: winter.wear_out.clone(),
                    hours: winter.breaks.map_or(0.0, |breaks| breaks.hours),
                })
                .collect(),
        ),
        breaks: rate.map(|rate| Breaks {
            alpha: rate.alpha,
            beta: rate.beta,
            hours: None,
        }),
        service_level: level.service_level,
    })
}

/// A winter by its years: "2019/20".
pub(super) fn years(winter: Winter) -> String {
    format!("{}/{:02}", winter.0, (winter.0 + 1).rem_euclid(100))
}

fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
