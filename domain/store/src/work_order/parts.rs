//! The parts an order needs: what sheets name in words, and what the list of parts has.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::{Need, OrderLine, PARTS_MAX, WorkOrder};
use crate::part::{self, KitContent};
use crate::{Error, Result, Tx, fields, stock};

/// What these lines take by the sheet's words, of each word: one part of the list, or what is in a kit.
pub(super) async fn of_lines(
    tx: &Tx<'_>,
    lines: &[OrderLine],
) -> Result<BTreeMap<String, Vec<KitContent>>> {
    let words: BTreeSet<String> = lines
        .iter()
        .flat_map(|line| line.takes.iter().cloned())
        .collect();
    let named = part::named(tx, &words.into_iter().collect::<Vec<_>>()).await?;
    let ids: Vec<Uuid> = named.values().copied().collect();
    let parts = part::with_ids(tx, &ids).await?;
    let taken = |part_id: Uuid| {
        let kit = parts.get(&part_id).and_then(|part| part.kit.clone());
        kit.unwrap_or_else(|| {
            vec![KitContent {
                part_id,
                quantity: 1,
            }]
        })
    };
    Ok(named
        .into_iter()
        .map(|(word, id)| (word, taken(id)))
        .collect())
}

/// Adds what these lines take to what is needed.
pub(super) fn add(
    needs: &mut Vec<Need>,
    lines: &[OrderLine],
    taken: &BTreeMap<String, Vec<KitContent>>,
) {
    let words = lines.iter().flat_map(|line| &line.takes);
    for taken in words.filter_map(|word| taken.get(word)).flatten() {
        if let Some(need) = needs.iter_mut().find(|need| need.part_id == taken.part_id) {
            need.quantity = (need.quantity + taken.quantity).min(part::QUANTITY_MAX);
        } else if needs.len() < PARTS_MAX {
            // Beyond that, what the sheet says stands on the line all the same.
            needs.push(Need {
                part_id: taken.part_id,
                quantity: taken.quantity,
            });
        }
    }
}

/// What no list of needs may be.
pub(super) async fn check(tx: &Tx<'_>, needs: &[Need]) -> Result<()> {
    fields::count("needs", needs, PARTS_MAX)?;
    let ids: Vec<Uuid> = needs.iter().map(|need| need.part_id).collect();
    let parts = part::with_ids(tx, &ids).await?;
    let mut seen = BTreeSet::new();
    for (index, need) in needs.iter().enumerate() {
        part::quantity(&format!("needs[{index}].quantity"), need.quantity)?;
        let field = format!("needs[{index}].part_id");
        let Some(part) = parts.get(&need.part_id) else {
            return Err(Error::no_such(field));
        };
        if part.kit.is_some() {
            return Err(Error::invalid(
                field,
                "is a kit, kept as its contents; name those",
            ));
        }
        if !seen.insert(need.part_id) {
            return Err(Error::invalid(
                field,
                "is named twice; name each part once, with all that is needed of it",
            ));
        }
    }
    Ok(())
}

/// How many of a part were used, all lots together.
pub(super) fn used(order: &WorkOrder, part_id: Uuid) -> i64 {
    let of_it = order.used.iter().filter(|used| used.part_id == part_id);
    of_it.map(|used| used.quantity).sum()
}

/// Whether some part that is still needed is short on the shelf here.
pub(super) async fn is_short(tx: &Tx<'_>, order: &WorkOrder) -> Result<bool> {
    let ids: Vec<Uuid> = order.needs.iter().map(|need| need.part_id).collect();
    let on_hand = stock::on_hand(tx, &ids).await?;
    let here = |part_id: Uuid| {
        let depots = on_hand.get(&part_id)?;
        depots.get(&order.depot_id).copied()
    };
    Ok(order.needs.iter().any(|need| {
        need.quantity - used(order, need.part_id) > here(need.part_id).unwrap_or(0).max(0)
    }))
}
