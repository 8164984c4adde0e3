//! What of a shelf will still be good.

use std::collections::BTreeMap;

use jiff::civil::Date;
use uuid::Uuid;

use crate::stock::best_before;

/// So many of a part on a depot's shelf, made at one time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShelfLot {
    /// The depot.
    pub depot_id: Uuid,
    /// The part.
    pub part_id: Uuid,
    /// When they were made, if that is known.
    pub made_on: Option<Date>,
    /// How many; the books may have less than nothing.
    pub quantity: i64,
}

/// What is on a shelf.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct OnHand {
    /// How many are good all along; none where the books have less.
    pub good: i64,
    /// How many more there are whose shelf life ends before.
    pub past: i64,
    /// The last day of the first of those.
    pub past_from: Option<Date>,
}

impl OnHand {
    pub(super) fn add(&mut self, other: OnHand) {
        self.good = self.good.saturating_add(other.good);
        self.past = self.past.saturating_add(other.past);
        self.past_from = self.past_from.into_iter().chain(other.past_from).min();
    }
}

/// What of these lots of one part on one shelf is good to `last_day`. A lot of no known age counts: nobody knows better.
pub fn on_hand<'l>(
    lots: impl IntoIterator<Item = &'l ShelfLot>,
    shelf_life_days: Option<i32>,
    last_day: Date,
) -> OnHand {
    let mut found = OnHand::default();
    for lot in lots {
        let best_before = lot
            .made_on
            .and_then(|made_on| best_before(made_on, shelf_life_days));
        match best_before.filter(|best_before| *best_before < last_day) {
            Some(best_before) if lot.quantity > 0 => found.add(OnHand {
                good: 0,
                past: lot.quantity,
                past_from: Some(best_before),
            }),
            _ => found.good = found.good.saturating_add(lot.quantity),
        }
    }
    found.good = found.good.max(0);
    found
}

/// Lots by depot and part.
pub(super) struct Shelves<'l>(BTreeMap<(Uuid, Uuid), Vec<&'l ShelfLot>>);

impl<'l> Shelves<'l> {
    pub fn new(lots: &'l [ShelfLot]) -> Self {
        let mut shelves: BTreeMap<(Uuid, Uuid), Vec<&ShelfLot>> = BTreeMap::new();
        for lot in lots {
            shelves
                .entry((lot.depot_id, lot.part_id))
                .or_default()
                .push(lot);
        }
        Shelves(shelves)
    }

    pub fn on_hand(
        &self,
        depot_id: Uuid,
        part_id: Uuid,
        shelf_life_days: Option<i32>,
        last_day: Date,
    ) -> OnHand {
        let lots = self
            .0
            .get(&(depot_id, part_id))
            .into_iter()
            .flatten()
            .copied();
        on_hand(lots, shelf_life_days, last_day)
    }
}
