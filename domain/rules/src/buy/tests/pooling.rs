//! Several depots, in common winters.

use super::*;
use crate::season::Winter;

fn at(number: u128, mut facts: DepotFacts) -> DepotFacts {
    facts.id = Uuid::from_u128(number);
    facts.name = format!("depot {number}");
    facts
}

const HARD_AND_MILD: &[(i16, bool)] = &[(2021, false), (2022, true), (2023, false), (2024, true)];

/// Two depots in the same snow need together what one depot with the machines of both needs: levels are worked out
/// together, and not added.
#[test]
fn two_depots_together_are_one_larger_depot() {
    let (left, right) = (&[-1.9, -1.2, -0.4, 0.3][..], &[-2.4, -1.9, -1.9][..]);
    let both: Vec<f64> = left.iter().chain(right).copied().collect();
    let snowy = |rides: &[f64]| {
        let mut facts = depot_with_belts(rides);
        facts.snowfall = snow(HARD_AND_MILD);
        facts
    };
    let list = belts_and_fasteners();
    let apart = buy(&[at(21, snowy(left)), at(22, snowy(right))], &[], &list);
    let one = buy(&[snowy(&both)], &[], &list);
    for id in [BELT, FASTENERS] {
        let (apart, one) = (line_of(&apart, id), line_of(&one, id));
        assert_eq!(apart.pooled.level, one.pooled.level);
        let local: Vec<i64> = apart.local.iter().map(|local| local.level.stock).collect();
        assert_eq!(
            local.iter().sum::<i64>() - one.pooled.level.stock,
            apart.pooling_saves
        );
        assert!(apart.pooling_saves >= 0 && local.len() == 2, "{local:?}");
    }
    assert!(line_of(&apart, FASTENERS).pooling_saves > 0);
}

/// A depot without a winter on record goes through those it has in turn; one without any through its typical days.
#[test]
fn winters_are_common() {
    let snowy = |number, winters: &[(i16, bool)]| {
        let mut facts = depot_with_belts(&[-1.9]);
        facts.snowfall = snow(winters);
        at(number, facts)
    };
    let list = belts_and_fasteners();
    let facts = [
        snowy(21, HARD_AND_MILD),
        snowy(22, &[(2022, true), (2024, true)]),
        snowy(23, &[]),
    ];
    let demands: Vec<DepotDemand> = facts.iter().map(|facts| demand(facts, &list)).collect();
    let of = |depot: usize, scenario: usize| demands[depot].parts[&BELT].wear_out[scenario][0];
    let together = together::Together::new(demands.iter().collect());
    assert_eq!(together.winters, [2021, 2022, 2023, 2024].map(Winter));
    let winters = together.sum(BELT).by_winter;
    let expected = [
        [of(0, 0), of(1, 0), of(2, 0)],
        [of(0, 1), of(1, 0), of(2, 0)],
        [of(0, 2), of(1, 0), of(2, 0)],
        [of(0, 3), of(1, 1), of(2, 0)],
    ];
    for (winter, expected) in winters.iter().zip(expected) {
        assert_eq!(winter.wear_out, expected);
    }
    assert!(of(0, 1) > of(0, 0), "a hard winter wears more");
}

/// A shelf in one depot is on hand for all; which depots' shelves are asked is for the asker.
#[test]
fn shelves_are_added_up_depot_by_depot() {
    let list = belts_and_fasteners();
    let facts = [
        at(21, depot_with_belts(&[-1.9; 6])),
        at(22, depot_with_belts(&[-1.9; 6])),
    ];
    let lot = |depot: u128, quantity| ShelfLot {
        depot_id: Uuid::from_u128(depot),
        part_id: BELT,
        made_on: None,
        quantity,
    };
    // Less than nothing in one depot's books takes nothing from the other; a depot not asked is not counted.
    let lots = [lot(21, -3), lot(22, 2), lot(23, 50)];
    let buy = buy(&facts, &lots, &list);
    let line = line_of(&buy, BELT);
    assert_eq!(line.pooled.level.on_hand, 2);
    let here: Vec<i64> = line.local.iter().map(|local| local.level.on_hand).collect();
    assert_eq!(here, [0, 2]);
}
