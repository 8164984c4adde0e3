//! An order with where its parts are: here, at other depots, or at a supplier.

use std::collections::BTreeMap;

use serde::Serialize;
use uuid::Uuid;

use super::{WorkOrder, parts};
use crate::part::{self, Part};
use crate::{Result, Tx, stock};

/// An order as it is shown to somebody.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct OrderShown {
    /// The order.
    #[serde(flatten)]
    pub order: WorkOrder,
    /// Its parts, needed or used, and where there are more.
    pub parts: Vec<PartOutlook>,
}

/// A part of an order, and where there is more of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct PartOutlook {
    /// The part of the list.
    pub part_id: Uuid,
    /// Its number.
    pub number: String,
    /// What sheets call it.
    pub name: String,
    /// What it is counted in.
    pub unit: String,
    /// How many the order needs in all.
    pub needed: i64,
    /// How many were used for it.
    pub used: i64,
    /// How many are on the shelf at the order's depot, on paper; null if you may not see that depot.
    pub here: Option<i64>,
    /// How many of those still needed the shelf here lacks.
    pub short: i64,
    /// Other depots that have some, of those you may see.
    pub elsewhere: Vec<Elsewhere>,
    /// From order to arrival, days.
    pub lead_time_days: i32,
}

/// So many of a part at another depot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct Elsewhere {
    /// The depot.
    pub depot_id: Uuid,
    /// How many.
    pub quantity: i64,
}

/// The orders as they are shown to the tenant.
///
/// # Errors
/// Those of the database.
pub async fn shown(tx: &Tx<'_>, orders: Vec<WorkOrder>) -> Result<Vec<OrderShown>> {
    let mut ids: Vec<Uuid> = orders.iter().flat_map(parts_of).collect();
    ids.sort_unstable();
    ids.dedup();
    let (known, on_hand) = futures::try_join!(part::with_ids(tx, &ids), stock::on_hand(tx, &ids))?;
    let none = BTreeMap::new();
    let shown = |order: WorkOrder| {
        let outlook = |part_id: Uuid| {
            let part = known.get(&part_id)?;
            let depots = on_hand.get(&part_id).unwrap_or(&none);
            Some(outlook(tx, &order, part, depots))
        };
        let mut ids: Vec<Uuid> = parts_of(&order).collect();
        ids.sort_unstable();
        ids.dedup();
        OrderShown {
            parts: ids.into_iter().filter_map(outlook).collect(),
            order,
        }
    };
    Ok(orders.into_iter().map(shown).collect())
}

fn parts_of(order: &WorkOrder) -> impl Iterator<Item = Uuid> {
    let needed = order.needs.iter().map(|need| need.part_id);
    needed.chain(order.used.iter().map(|used| used.part_id))
}

fn outlook(
    tx: &Tx<'_>,
    order: &WorkOrder,
    part: &Part,
    depots: &BTreeMap<Uuid, i64>,
) -> PartOutlook {
    let needed = order
        .needs
        .iter()
        .find(|need| need.part_id == part.id)
        .map_or(0, |need| need.quantity);
    let used = parts::used(order, part.id);
    let granted = tx.tenant().depots.contains(order.depot_id);
    let here = granted.then(|| depots.get(&order.depot_id).copied().unwrap_or(0));
    let wanted = if order.state.is_final() {
        0
    } else {
        (needed - used).max(0)
    };
    let others = depots
        .iter()
        .filter(|(id, quantity)| **id != order.depot_id && **quantity > 0);
    PartOutlook {
        part_id: part.id,
        number: part.number.clone(),
        name: part.name.clone(),
        unit: part.unit.clone(),
        needed,
        used,
        here,
        short: (wanted - here.unwrap_or(0).max(0)).max(0),
        elsewhere: others
            .map(|(depot_id, quantity)| Elsewhere {
                depot_id: *depot_id,
                quantity: *quantity,
            })
            .collect(),
        lead_time_days: part.lead_time_days,
    }
}
