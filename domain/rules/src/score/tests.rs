use super::*;
use proptest::prelude::*;

/// P(enough) and the expected shortfall over all 2^n outcomes.
fn by_enumeration(units: &[UnitChance], needed_rate: f64, operators: Option<u32>) -> (f64, f64) {
    let (mut enough, mut shortfall) = (0.0, 0.0);
    for outcome in 0_u32..1 << units.len() {
        let mut chance = 1.0;
        let mut rates = Vec::new();
        for (index, unit) in units.iter().enumerate() {
            if outcome >> index & 1 == 1 {
                chance *= unit.works;
                rates.push(unit.rate);
            } else {
                chance *= 1.0 - unit.works;
            }
        }
        rates.sort_unstable_by(|left, right| right.total_cmp(left));
        rates.truncate(operators.map_or(usize::MAX, |most| most as usize));
        let rate: f64 = rates.iter().sum();
        if rate >= needed_rate - 1e-8 {
            enough += chance;
        }
        shortfall += chance * (needed_rate - rate).max(0.0);
    }
    (enough, shortfall)
}

/// Rates as they come and rates in whole tens, some alike.
fn units() -> impl Strategy<Value = Vec<UnitChance>> {
    let rate = prop_oneof![
        (20..160_u32).prop_map(|tens| f64::from(tens) * 10.0),
        Just(1083.6),
        Just(0.0),
        100.0..1500.0_f64,
    ];
    let works = prop_oneof![0.0..=1.0_f64, Just(0.0), Just(1.0)];
    prop::collection::vec(
        (works, rate).prop_map(|(works, rate)| UnitChance { works, rate }),
        0..10,
    )
}

fn operators() -> impl Strategy<Value = Option<u32>> {
    prop::option::of(0..12_u32)
}

proptest! {
    #[test]
    fn the_score_is_that_of_every_outcome_counted(
        units in units(), needed in 0.0..9000.0_f64, operators in operators(),
    ) {
        let score = depot_score(&units, needed, operators);
        let (enough, shortfall) = by_enumeration(&units, needed, operators);
        prop_assert!((score.score - 100.0 * enough).abs() < 1e-10);
        prop_assert_eq!(score.at_least, score.at_most);
        prop_assert!((score.shortfall - shortfall).abs() < 1e-8);
    }

    /// With few states allowed the rates are rounded, and the truth lies between the bounds.
    #[test]
    fn bounds_hold_the_truth(
        units in units(), needed in 0.0..9000.0_f64, operators in operators(), states_max in 1..60_usize,
    ) {
        let rates: Vec<f64> = units.iter().map(|unit| unit.rate).collect();
        let works: Vec<[f64; 1]> = units.iter().map(|unit| [unit.works]).collect();
        let [score] = scores(&rates, &works, needed, operators, states_max);
        let (enough, shortfall) = by_enumeration(&units, needed, operators);
        prop_assert!(score.at_least <= enough + 1e-12 && enough <= score.at_most + 1e-12);
        prop_assert!(score.shortfall >= shortfall - 1e-8);
        prop_assert_eq!(score.score, 100.0 * score.at_least);
    }

    #[test]
    fn the_score_rises_with_chances_and_operators_and_falls_with_the_need(
        units in units(), needed in 1.0..9000.0_f64, operators in 0..12_u32, better in 0.0..=1.0_f64, which in 0..10_usize,
    ) {
        let now = depot_score(&units, needed, Some(operators)).score;
        prop_assert!((0.0..=100.0).contains(&now));
        let with_one_more = depot_score(&units, needed, Some(operators + 1)).score;
        prop_assert!(with_one_more >= now - 1e-10);
        prop_assert!(depot_score(&units, needed, None).score >= with_one_more - 1e-10);
        prop_assert!(depot_score(&units, needed + 500.0, Some(operators)).score <= now + 1e-10);
        let mut improved = units;
        if let Some(unit) = improved.get_mut(which) {
            unit.works += (1.0 - unit.works) * better;
        }
        prop_assert!(depot_score(&improved, needed, Some(operators)).score >= now - 1e-10);
    }

    #[test]
    fn sets_of_chances_are_scored_as_each_alone(
        units in units(), needed in 0.0..9000.0_f64, operators in operators(), other in 0.0..=1.0_f64,
    ) {
        let rates: Vec<f64> = units.iter().map(|unit| unit.rate).collect();
        let works: Vec<[f64; 2]> = units.iter().map(|unit| [unit.works, unit.works * other]).collect();
        let both = depot_scores(&rates, &works, needed, operators);
        for (n, score) in both.into_iter().enumerate() {
            let alone: Vec<UnitChance> = units
                .iter()
                .zip(&works)
                .map(|(unit, works)| UnitChance { works: works[n], rate: unit.rate })
                .collect();
            prop_assert_eq!(score, depot_score(&alone, needed, operators));
        }
    }

    /// Laid out as a lattice the states say the same, carried forwards, backwards, or from both ends.
    #[test]
    fn a_lattice_says_what_the_score_says(
        units in units(), needed in 1.0..9000.0_f64, operators in operators(), cut in 0..10_usize,
    ) {
        let mut units: Vec<UnitChance> = units.into_iter().filter(|unit| unit.rate > 0.0).collect();
        units.sort_unstable_by(|one, other| other.rate.total_cmp(&one.rate));
        let rates: Vec<f64> = units.iter().map(|unit| unit.rate).collect();
        let lattice = Lattice::new(&rates, needed, operators);
        let expected = depot_score(&units, needed, operators).score / 100.0;
        let (before, after) = units.split_at(cut.min(units.len()));
        let mut law = lattice.start();
        for unit in before {
            lattice.forward(&mut law, lattice.kind(unit.rate), unit.works);
        }
        let mut value = lattice.end();
        for unit in after.iter().skip(1).rev() {
            lattice.backward(&mut value, lattice.kind(unit.rate), unit.works);
        }
        // The unit at the cut by what it changes: from the one side or from the other.
        if let Some(unit) = after.first() {
            let kind = lattice.kind(unit.rate);
            let without = met(&law, &value);
            let by_rise = without + unit.works * met(&law, &lattice.rise(&value, kind));
            let by_shift = without + unit.works * met(&lattice.shifted(&law, kind), &value);
            prop_assert!((by_rise - expected).abs() < 1e-12, "{by_rise} {expected}");
            prop_assert!((by_shift - expected).abs() < 1e-12, "{by_shift} {expected}");
            lattice.backward(&mut value, kind, unit.works);
        }
        let chance = met(&law, &value);
        prop_assert!((chance - expected).abs() < 1e-12, "{chance} {expected}");
        if lattice.any_order() {
            let mut law = lattice.start();
            for unit in units.iter().rev() {
                lattice.forward(&mut law, lattice.kind(unit.rate), unit.works);
            }
            prop_assert!((met(&law, &lattice.end()) - expected).abs() < 1e-12);
        }
    }

    #[test]
    fn hours_to_clear_are_those_of_every_outcome(units in units(), operators in operators()) {
        let rates: Vec<f64> = units.iter().map(|unit| unit.rate).collect();
        let works: Vec<[f64; 2]> = units.iter().map(|unit| [unit.works, 1.0]).collect();
        let [got, all_work] = hours_to_clear(&rates, &works, operators, |rate| 10_000.0 / rate);
        let (mut running, mut hours) = (0.0, 0.0);
        for outcome in 0_u32..1 << units.len() {
            let mut chance = 1.0;
            let mut rates = Vec::new();
            for (index, unit) in units.iter().enumerate() {
                let works = outcome >> index & 1 == 1;
                chance *= if works { unit.works } else { 1.0 - unit.works };
                if works {
                    rates.push(unit.rate);
                }
            }
            rates.sort_unstable_by(|left, right| right.total_cmp(left));
            rates.truncate(operators.map_or(usize::MAX, |most| most as usize));
            let rate: f64 = rates.iter().sum();
            if rate > 0.0 {
                running += chance;
                hours += chance * 10_000.0 / rate;
            }
        }
        prop_assert!((got.runs - running).abs() < 1e-10);
        prop_assert!((got.hours - hours).abs() <= 1e-9 * hours);
        let mut best = rates;
        best.sort_unstable_by(|left, right| right.total_cmp(left));
        let best: f64 = best.iter().take(operators.map_or(usize::MAX, |most| most as usize)).sum();
        let alone = if best > 0.0 { (10_000.0 / best, 1.0) } else { (0.0, 0.0) };
        prop_assert!((all_work.hours - alone.0).abs() <= 1e-9 * alone.0);
        prop_assert_eq!(all_work.runs, alone.1);
    }
}

/// Three machines of 1000 m2/h at 0.9, two operators, 2000 needed: P(at least two work) = 3 x 0.81 x 0.1 + 0.729 =
/// 0.972; short by 1000 where one works (3 x 0.9 x 0.01 = 0.027) and by 2000 where none does (0.001): 29 m2/h.
#[test]
fn a_score_worked_by_hand() {
    let units = [UnitChance {
        works: 0.9,
        rate: 1000.0,
    }; 3];
    let score = depot_score(&units, 2000.0, Some(2));
    assert!((score.score - 97.2).abs() < 1e-10);
    assert!((score.shortfall - 29.0).abs() < 1e-9);
    let one_operator = depot_score(&units, 2000.0, Some(1));
    assert_eq!(one_operator.score, 0.0);
}

#[test]
fn nothing_needed_is_a_hundred_and_nobody_against_a_need_is_none() {
    let unit = UnitChance {
        works: 0.5,
        rate: 100.0,
    };
    assert_eq!(depot_score(&[], 0.0, None).score, 100.0);
    assert_eq!(depot_score(&[unit], 0.0, Some(0)).score, 100.0);
    let nobody = depot_score(&[], 500.0, None);
    assert_eq!(
        (nobody.score, nobody.at_most, nobody.shortfall),
        (0.0, 0.0, 500.0)
    );
    assert_eq!(depot_score(&[unit], 50.0, Some(0)).score, 0.0);
    let [nobody] = hours_to_clear(&[], &[[0.0; 1]; 0], None, |rate| 100.0 / rate);
    assert_eq!((nobody.hours, nobody.runs), (0.0, 0.0));
}

/// Forty machines of forty rates make far more than 20,000 states: bounds apart, but hardly.
#[test]
fn a_fleet_of_many_rates_gets_close_bounds() {
    let units: Vec<UnitChance> = (0..40)
        .map(|i| UnitChance {
            works: 0.85,
            rate: 900.0 + 13.37 * f64::from(i),
        })
        .collect();
    let score = depot_score(&units, 26_000.0, Some(25));
    assert!(score.at_least < score.at_most);
    assert!(score.at_most - score.at_least < 0.02, "{score:?}");
}

/// The same machines laid out: rounded down as a score of no more states is.
#[test]
fn a_lattice_of_many_rates_is_on_the_same_grid() {
    let units: Vec<UnitChance> = (0..40)
        .rev()
        .map(|i| UnitChance {
            works: 0.85,
            rate: 900.0 + 13.37 * f64::from(i),
        })
        .collect();
    let (rates, works): (Vec<f64>, Vec<[f64; 1]>) =
        units.iter().map(|unit| (unit.rate, [unit.works])).unzip();
    for operators in [None, Some(25)] {
        let lattice = Lattice::new(&rates, 26_000.0, operators);
        let mut law = lattice.start();
        for unit in &units {
            lattice.forward(&mut law, lattice.kind(unit.rate), unit.works);
        }
        let [score] = scores(&rates, &works, 26_000.0, operators, lattice::STATES_MAX);
        let chance = met(&law, &lattice.end());
        assert!(
            (chance - score.at_least).abs() < 1e-12,
            "{chance} {score:?}"
        );
    }
}

/// As large as a depot gets, in whole tens: sums in tens up to the need, 2,749 of them for up to 23 operators, are few enough.
#[test]
fn a_large_depot_in_whole_tens_is_exact() {
    let unit = |index: u32| UnitChance {
        works: 0.45,
        rate: f64::from(900 + 10 * (index * index % 59)),
    };
    let units: Vec<UnitChance> = (0..57).map(unit).collect();
    let score = depot_score(&units, 27_480.0, Some(23));
    assert!(score.score > 1.0 && score.score < 99.0, "{score:?}");
    assert_eq!(score.at_least, score.at_most);
}

/// Kilograms an hour are small numbers: with too many states for them all, they are rounded to quarters, not to tens, which
/// would make of 18.5 and 27.25 kg/h one or three times ten.
#[test]
fn rates_in_quarters_stay_close_on_their_grid() {
    let unit = |index: u32| UnitChance {
        works: 0.9,
        rate: 15.0 + 0.25 * f64::from(index * index % 37),
    };
    let units: Vec<UnitChance> = (0..12).map(unit).collect();
    let (rates, works): (Vec<f64>, Vec<[f64; 1]>) =
        units.iter().map(|unit| (unit.rate, [unit.works])).unzip();
    for (needed, operators) in [(180.0, None), (120.0, Some(7))] {
        let (enough, _) = by_enumeration(&units, needed, operators);
        let [few] = scores(&rates, &works, needed, operators, 400);
        assert!(few.at_least <= enough + 1e-12 && enough <= few.at_most + 1e-12);
        assert!(few.at_most - few.at_least < 0.2, "{few:?}");
        // As many as a quarter needs: exact.
        let [all] = scores(&rates, &works, needed, operators, 20_000);
        assert_eq!(all.at_least, all.at_most);
        assert!((all.at_least - enough).abs() < 1e-12);
    }
}
