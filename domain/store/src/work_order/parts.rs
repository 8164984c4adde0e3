//! The parts an order needs: what sheets name in words, and what the list of parts has.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::{Need, OrderLine, PARTS_MAX, WorkOrder};
use crate::{Error, Result, Tx, fields, part, stock};

/// The parts of the list that these lines take by the sheet's words, one of each word.
pub(super) async fn of_lines(tx: &Tx<'_>, lines: &[OrderLine]) -> Result<BTreeMap<String, Uuid>> {
    let words: BTreeSet<String> = lines
        .iter()
        .flat_map(|line| line.takes.iter().cloned())
        .collect();
    part::named(tx, &words.into_iter().collect::<Vec<_>>()).await
}

/// Adds what these lines take to what is needed.
pub(super) fn add(needs: &mut Vec<Need>, lines: &[OrderLine], named: &BTreeMap<String, Uuid>) {
    let taken = lines.iter().flat_map(|line| &line.takes);
    for part_id in taken.filter_map(|word| named.get(word)) {
        if let Some(need) = needs.iter_mut().find(|need| need.part_id == *part_id) {
            need.quantity += 1;
        } else if needs.len() < PARTS_MAX {
            // Beyond that, what the sheet says stands on the line all the same.
            needs.push(Need {
                part_id: *part_id,
                quantity: 1,
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
