//! What of a shelf counts, and what is ordered.

use proptest::prelude::*;

use super::*;

fn lot(made_on: Option<jiff::civil::Date>, quantity: i64) -> ShelfLot {
    ShelfLot {
        depot_id: Uuid::from_u128(2),
        part_id: BELT,
        made_on,
        quantity,
    }
}

/// Six years of 365.25 days from 13 January 2020 end on 12 January 2026: in the season's middle for one lot, after it for
/// the other.
#[test]
fn a_lot_that_passes_its_date_before_the_end_does_not_count() {
    let lots = [
        lot(Some(date(2020, 1, 13)), 3),
        lot(Some(date(2020, 4, 11)), 2),
        lot(None, 1),
    ];
    let end = date(2026, 4, 10);
    let found = on_hand(&lots, Some(2191), end);
    assert_eq!((found.good, found.past), (3, 3));
    assert_eq!(found.past_from, Some(date(2026, 1, 12)));
    // To its last day it may be fitted.
    assert_eq!(on_hand(&lots, Some(2191), date(2026, 1, 12)).good, 6);
    assert_eq!(on_hand(&lots, None, end).good, 6);
    // In a shed 8 degC warmer rubber keeps half as long: the part's figure says so.
    assert_eq!(on_hand(&lots, Some(2191 / 2), end).good, 1);
    // The books may have less than nothing, a shelf not.
    assert_eq!(
        on_hand(&[lot(None, -4), lot(None, 1)], None, end),
        OnHand::default()
    );
}

#[test]
fn a_short_shelf_life_makes_an_order() {
    let facts = depot_with_belts(&[-1.9; 12]);
    let mut belt = listed(BELT, "auger belt");
    let stock = |belt: &Listed| {
        let lots = [lot(Some(date(2025, 3, 12)), 40)];
        let buy = buy(
            std::slice::from_ref(&facts),
            &lots,
            &catalogue(vec![belt.clone()]),
        );
        line_of(&buy, BELT).pooled.level.clone()
    };
    let keeps = stock(&belt);
    assert_eq!(
        (keeps.on_hand, keeps.past_shelf_life, keeps.order),
        (40, 0, 0)
    );
    belt.shelf_life_days = Some(365);
    let ages = stock(&belt);
    assert_eq!(
        (ages.on_hand, ages.past_shelf_life, ages.order),
        (0, 40, ages.stock)
    );
    assert!(ages.stock > 0);
}

#[test]
fn what_is_on_order_is_not_ordered_again() {
    let facts = depot_with_belts(&[-1.9; 12]);
    let list = belts_and_fasteners();
    let demand = demand(&facts, &list);
    let buy = |on_order| {
        let on_order = BTreeMap::from([(BELT, on_order)]);
        let buy = season_buy(
            std::slice::from_ref(&demand),
            &[],
            &list,
            Service::default(),
            &on_order,
        );
        line_of(&buy, BELT).pooled.clone()
    };
    let (none, three) = (buy(0), buy(3));
    assert_eq!(three.level.order, none.level.order - 3);
    assert!(
        three.because.contains("; 3 on order; "),
        "{}",
        three.because
    );
    let enough = buy(1_000);
    assert_eq!(enough.level.order, 0);
    assert!(
        enough.because.starts_with("Nothing to buy: "),
        "{}",
        enough.because
    );
}

proptest! {
    /// An order fills what is missing, by less than a pack too many, and is whole packs.
    #[test]
    fn orders_are_whole_packs(
        stock in 0..2_000_i64, on_hand in 0..2_000_i64, on_order in 0..500_i64, pack in 1..200_i64,
    ) {
        let order = order(stock, on_hand, on_order, pack);
        let missing = (stock - on_hand - on_order).max(0);
        prop_assert!(order >= missing && order < missing + pack && order % pack == 0);
    }
}
