//! The shelf of a depot, as a ledger of movements: what its level is, and which lot to take first.

use jiff::Span;
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

/// What happened to parts on a shelf.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = StockMoveKind))]
#[serde(rename_all = "snake_case")]
pub enum Move {
    /// They came: from a supplier, or back from a machine unused.
    Received,
    /// They went into a machine.
    Used,
    /// So many were found on the shelf: the level is that, whatever was booked before.
    Counted,
    /// They left for another depot, where they arrived.
    Moved,
    /// They are gone or spoilt.
    Lost,
}

impl Move {
    /// Every move.
    pub const ALL: [Move; 5] = [
        Move::Received,
        Move::Used,
        Move::Counted,
        Move::Moved,
        Move::Lost,
    ];

    /// What a move of `quantity` does to the shelf it names, or, where it `arrives` from another depot, to that shelf.
    pub fn effect(self, quantity: i64, arrives: bool) -> Effect {
        match self {
            Move::Counted => Effect::Is(quantity),
            Move::Received => Effect::By(quantity),
            Move::Moved if arrives => Effect::By(quantity),
            Move::Used | Move::Moved | Move::Lost => Effect::By(-quantity),
        }
    }
}

/// What a movement does to a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// It rises or falls by so many.
    By(i64),
    /// It is so many.
    Is(i64),
}

/// The level that these movements come to, in whatever order they became known: they count in the order of their keys
/// (when each took effect, then its id). It may be less than nothing: the books can be wrong where a shelf cannot.
pub fn level<K: Ord>(movements: impl IntoIterator<Item = (K, Effect)>) -> i64 {
    let mut movements: Vec<(K, Effect)> = movements.into_iter().collect();
    movements.sort_by(|(one, _), (other, _)| one.cmp(other));
    movements
        .into_iter()
        .fold(0, |level, (_, effect)| match effect {
            Effect::By(change) => level.saturating_add(change),
            Effect::Is(found) => found,
        })
}

/// The last day on which a part made on `made_on` may be fitted; `None` where it keeps, or the calendar ends.
pub fn best_before(made_on: Date, shelf_life_days: Option<i32>) -> Option<Date> {
    made_on.checked_add(Span::new().days(shelf_life_days?)).ok()
}

/// The order in which lots are best used: the oldest first, those of no known date last, then by code.
pub fn use_order(made_on: Option<Date>, code: &str) -> (bool, Option<Date>, &str) {
    (made_on.is_none(), made_on, code)
}

/// A quantity as it is said of a part counted in `unit`: "10", "2 sets", "400 ml".
pub fn quantity_of(unit: &str, quantity: i64) -> String {
    /// What is counted in other words is said as it was entered.
    const SEVERAL: [(&str, &str); 9] = [
        ("set", "sets"),
        ("pair", "pairs"),
        ("pack", "packs"),
        ("box", "boxes"),
        ("kit", "kits"),
        ("roll", "rolls"),
        ("bottle", "bottles"),
        ("can", "cans"),
        ("tube", "tubes"),
    ];
    if unit.eq_ignore_ascii_case("each") {
        return quantity.to_string();
    }
    let several = SEVERAL
        .iter()
        .find(|(one, _)| unit.eq_ignore_ascii_case(one));
    let said = several.filter(|_| quantity != 1);
    format!("{quantity} {}", said.map_or(unit, |(_, several)| several))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_is_said_in_what_it_is_counted_in() {
        let said = [
            ("each", 10),
            ("set", 1),
            ("Set", 2),
            ("box", 2),
            ("ml", 400),
            ("ft", 6),
        ];
        let said = said.map(|(unit, quantity)| quantity_of(unit, quantity));
        assert_eq!(said, ["10", "1 set", "2 sets", "2 boxes", "400 ml", "6 ft"]);
    }
    use proptest::prelude::*;

    fn effects() -> impl Strategy<Value = Vec<(u32, Effect)>> {
        let effect = prop_oneof![
            4 => (-50..50_i64).prop_map(Effect::By),
            1 => (0..50_i64).prop_map(Effect::Is),
        ];
        proptest::collection::vec(effect, 0..30).prop_map(|effects| (0..).zip(effects).collect())
    }

    proptest! {
        #[test]
        fn the_order_of_arrival_does_not_matter(
            (told, shuffled) in effects().prop_flat_map(|told| (Just(told.clone()), Just(told).prop_shuffle()))
        ) {
            prop_assert_eq!(level(told), level(shuffled));
        }

        #[test]
        fn a_count_forgets_what_was_before_it(before in effects(), found in 0..1000_i64, after in effects()) {
            let after: Vec<(u32, Effect)> = after.into_iter().map(|(key, effect)| (key + 1_000, effect)).collect();
            let counted = || std::iter::once((500, Effect::Is(found)));
            let whole = level(before.into_iter().chain(counted()).chain(after.clone()));
            prop_assert_eq!(whole, level(counted().chain(after)));
        }

        #[test]
        fn without_a_count_it_is_the_sum(changes in proptest::collection::vec(-50..50_i64, 0..30)) {
            let told = changes.iter().enumerate().map(|(key, change)| (key, Effect::By(*change)));
            prop_assert_eq!(level(told), changes.iter().sum::<i64>());
        }
    }

    #[test]
    fn what_is_moved_leaves_one_shelf_and_arrives_on_the_other() {
        for quantity in [0, 1, 40] {
            let there = level([
                (0, Move::Counted.effect(100, false)),
                (1, Move::Moved.effect(quantity, false)),
            ]);
            let here = level([(0, Move::Moved.effect(quantity, true))]);
            assert_eq!(there + here, 100);
        }
    }

    #[test]
    fn the_oldest_lot_goes_first_and_a_belt_keeps_six_years() {
        let day = |text: &str| text.parse::<Date>().unwrap();
        let mut lots = [
            (None, "b"),
            (Some(day("2024-05-01")), "a"),
            (Some(day("2021-05-01")), "z"),
            (None, "a"),
        ];
        lots.sort_by(|one, other| use_order(one.0, one.1).cmp(&use_order(other.0, other.1)));
        assert_eq!(lots.map(|lot| lot.1), ["z", "a", "a", "b"]);
        // Belts: 6 to 8 years below 30 degC (belt makers' storage notes); 6 years of 365.25 days.
        assert_eq!(
            best_before(day("2020-01-01"), Some(2_191)),
            Some(day("2025-12-31"))
        );
        assert_eq!(best_before(day("2020-01-01"), None), None);
        assert_eq!(best_before(day("9999-12-01"), Some(36_500)), None);
    }
}
