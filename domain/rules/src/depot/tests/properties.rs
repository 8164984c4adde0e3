//! What must hold for every depot, however odd.

use proptest::prelude::*;

use super::*;
use crate::facts::{DesignStorm, MeterFacts, MonthDay, PathReading, StartFacts, UnitFacts};

/// A fleet of up to six machines at different hours, last started so many days ago.
fn fleet() -> impl Strategy<Value = Vec<UnitFacts>> {
    prop::collection::vec((1.0f64..150.0, 0i64..100), 1..6).prop_map(|machines| {
        let unit = |(number, (hours, days)): (usize, (f64, i64))| {
            let mut unit = fresh_unit(number as u128, hours);
            unit.latest
                .retain(|reading| reading.check != "engine_start");
            unit.starts[0].at = now_plus_days(-days);
            unit
        };
        machines.into_iter().enumerate().map(unit).collect()
    })
}

fn score(facts: &DepotFacts) -> f64 {
    evaluate(facts, now())
        .depot
        .document
        .score
        .expect("a score")
}

/// A civil day of the year.
fn month_day() -> impl Strategy<Value = MonthDay> {
    (1u8..=12, 1u8..=28)
        .prop_map(|(month, day)| MonthDay::parse(&format!("{month:02}-{day:02}")).unwrap())
}

/// An instant within three years of now.
fn instant() -> impl Strategy<Value = Timestamp> {
    (-1100i64..1100, 0i64..86_400)
        .prop_map(|(days, seconds)| now_plus_days(days).checked_add(seconds.seconds()).unwrap())
}

/// A number a careless person or a broken device may have sent.
fn odd_number() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), -1e3f64..1e3, Just(1e9), Just(-1e9), 0.0f64..5.0]
}

/// One thing wrong or unusual about a machine.
fn oddity() -> impl Strategy<Value = (u8, Timestamp, f64, usize)> {
    (0u8..16, instant(), odd_number(), 0usize..100)
}

fn make_odd(unit: &mut UnitFacts, (kind, at, number, pick): (u8, Timestamp, f64, usize)) {
    let place = pick % unit.parts.len().max(1);
    match kind {
        0 => unit.meter.push(MeterFacts {
            at,
            hours: number,
            estimated: true,
            meter_replaced: false,
        }),
        1 => unit.meter.clear(),
        2 => unit.starts.push(StartFacts {
            at,
            started: pick % 2 == 0,
            by: String::new(),
        }),
        3 => unit.starts.clear(),
        4 => unit.latest.clear(),
        5 => unit
            .inspections
            .iter_mut()
            .for_each(|inspection| inspection.at = at),
        6 => unit.parts.clear(),
        7 => unit.acquired_on = None,
        8 => unit.acquired_on = Some(jiff::tz::TimeZone::UTC.to_datetime(at).date()),
        9 => {
            unit.rigging = if pick % 2 == 0 {
                Work::Blow
            } else {
                Work::Spread
            }
        }
        10 => unit.away = Some("elsewhere".to_owned()),
        11 => unit.model = Uuid::from_u128(99),
        _ => {
            let Some(path) = unit.parts.get_mut(place) else {
                return;
            };
            match kind {
                12 => path.fitted_hours = Some(number),
                13 => (path.fitted_at, path.fitted_hours) = (Some(at), None),
                14 => {
                    (path.removed_at, path.removed_hours, path.failed) =
                        (Some(at), Some(number), Some(pick % 2 == 0))
                }
                _ => {
                    let check = path
                        .readings
                        .first()
                        .map_or("friction_ring".to_owned(), |reading| reading.check.clone());
                    path.readings.push(PathReading {
                        check,
                        at,
                        hours: (pick % 3 > 0).then_some(number),
                        value: number,
                        repeats: pick as u32,
                    });
                }
            }
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// R never rises when a part wears: its last reading nearer to, or farther past, its limit.
    #[test]
    fn a_worn_part_never_helps(hours in 1.0f64..150.0, from in -1.0f64..5.5, wear in 0.0f64..3.0) {
        let chance = |rubber: f64| {
            let mut unit = fresh_unit(1, hours);
            set_reading(&mut unit, "friction_ring", rubber);
            evaluate(&depot(vec![unit]), now()).units[0].inputs.chance()
        };
        prop_assert!(chance(from - wear) <= chance(from) + 1e-12);
    }

    /// Nor does any part's chance to last, or the advice grow calmer.
    #[test]
    fn a_worn_belt_is_never_advised_to_last_longer(hours in 1.0f64..150.0, from in -4.0f64..1.5, wear in 0.0f64..3.0) {
        let belt = |ride: f64| {
            let mut unit = fresh_unit(1, hours);
            set_reading(&mut unit, "auger_belt_ride", ride);
            let state = part(&evaluate(&depot(vec![unit]), now()), "auger_belt").clone();
            (state.lasts, state.advice)
        };
        let ((worn, worn_advice), (good, good_advice)) = (belt(from - wear), belt(from));
        prop_assert!(worn.storm <= good.storm && worn.this_season <= good.this_season && worn.next_season <= good.next_season);
        prop_assert!(worn.storm >= worn.this_season && worn.this_season >= worn.next_season);
        prop_assert!(worn_advice <= good_advice);
    }

    /// The score never falls when a machine's chance rises (it was started later), nor when operators come.
    #[test]
    fn better_chances_and_more_operators_never_hurt(units in fleet(), area in 500.0f64..9000.0, people in 0u32..7, later in 0i64..60) {
        let mut facts = depot(units);
        facts.duties = vec![duty("platforms", area, None)];
        facts.operators = vec![operators(people)];
        let before = score(&facts);
        facts.operators = vec![operators(people + 1)];
        prop_assert!(score(&facts) >= before, "one more operator");
        facts.operators = vec![operators(people)];
        // Later, but not after now. The depot's start rate is the sheet's: one start a machine teaches nothing.
        let at = facts.units[0].starts[0].at;
        facts.units[0].starts[0].at = at.checked_add((24 * later).hours()).unwrap().min(now());
        prop_assert!(score(&facts) >= before, "started later");
    }

    /// It never rises with the storm's depth.
    #[test]
    fn more_snow_never_helps(units in fleet(), area in 500.0f64..9000.0, depth in 1.0f64..600.0, more in 0.0f64..300.0) {
        let mut facts = depot(units);
        facts.duties = vec![duty("platforms", area, None)];
        facts.design_storm.depth_mm = depth;
        let before = score(&facts);
        facts.design_storm.depth_mm = depth + more;
        prop_assert!(score(&facts) <= before);
    }

    /// Whatever is loaded, there is an answer: chances in [0, 1], a score in [0, 100] or none, reasons, an instant ahead.
    #[test]
    fn odd_facts_never_break_it(
        mut units in prop::collection::vec(0.0f64..200.0, 0..4).prop_map(|hours| {
            hours.into_iter().enumerate().map(|(number, hours)| fresh_unit(number as u128, hours)).collect::<Vec<_>>()
        }),
        oddities in prop::collection::vec((0usize..4, oddity()), 0..30),
        season in (month_day(), month_day()), snow_days in prop_oneof![Just(0u32), 0u32..400],
        storm_hours in odd_number(), depth in odd_number(), reclear in odd_number(),
        area in odd_number(), within in odd_number(), narrow in prop::option::of(odd_number()),
        people in prop::option::of(0u32..5), storm_times in (instant(), instant()), as_of in instant(),
    ) {
        for (place, oddity) in oddities {
            if let Some(unit) = units.get_mut(place) {
                make_odd(unit, oddity);
            }
        }
        let mut facts = depot(units);
        (facts.season_starts, facts.season_ends) = season;
        facts.typical_snow_days = snow_days;
        facts.design_storm = DesignStorm { hours: storm_hours, depth_mm: depth, reclear_mm: reclear, ..DesignStorm::default() };
        facts.duties = vec![duty("platforms", 3000.0, None), duty("odd", area, narrow)];
        facts.duties[1].clear_within_h = within;
        facts.operators = people.map(operators).into_iter().collect();
        let mut odd_storm = storm(1, "2025-12-05T00:00:00Z", "2025-12-05T12:00:00Z");
        (odd_storm.starts_at, odd_storm.ends_at) = storm_times;
        facts.storms.push(odd_storm);
        let evaluation = evaluate(&facts, as_of);
        prop_assert!(evaluation.valid_until > as_of);
        let document = &evaluation.depot.document;
        prop_assert!(document.score.is_none_or(|score| (0.0..=100.0).contains(&score)));
        prop_assert!(document.score_with_unproven >= document.score);
        prop_assert!(!document.because.is_empty());
        prop_assert!(document.needed_rate.is_finite());
        for unit in &evaluation.units {
            prop_assert!((0.0..=1.0).contains(&unit.document.chance) && unit.document.rate.is_finite());
            prop_assert!(!unit.document.because.is_empty());
            prop_assert!(unit.inputs.factors.iter().all(|factor| (0.0..=1.0).contains(&factor.chance)), "{:?}", unit.inputs);
            prop_assert!(unit.works.iter().all(|works| (0.0..=1.0).contains(works)));
            // JSON has no word for what is not a number: it would come back as null.
            let wire = serde_json::to_string(&(&unit.document, &unit.inputs)).unwrap();
            let back: (crate::unit::UnitDocument, crate::unit::standing::Input) = serde_json::from_str(&wire).unwrap();
            prop_assert_eq!(&back.0, &unit.document);
        }
    }
}
