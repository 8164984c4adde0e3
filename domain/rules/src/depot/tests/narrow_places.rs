//! Places that wider machines do not pass.

use super::*;
use crate::facts::UnitFacts;

/// A second model, as the default sheet but wider.
const WIDE: Uuid = Uuid::from_u128(3);

/// The platforms and a narrow place of so many m2, `narrow` default machines (711 mm, 1070 m2/h) and as many `wide` ones.
fn yard(narrow: u32, wide: u32, wide_mm: f64, place: (f64, f64)) -> DepotFacts {
    let units = (0..narrow + wide).map(|number| {
        let mut unit = fresh_unit(u128::from(number) + 1, 60.0);
        if number >= narrow {
            unit.model = WIDE;
        }
        unit
    });
    let mut facts = depot(units.collect());
    let mut sheet = facts.sheets[&MODEL].clone();
    sheet.rate.width_mm.value = wide_mm;
    facts.sheets.insert(WIDE, sheet);
    facts.duties.push(duty("ramp", place.0, Some(place.1)));
    facts
}

/// Ten machines of 711 mm: a ramp 900 mm wide bars none of them, so it is ground like any other. 5200 m2 five times by
/// 12.6 h: 2063 m2/h, two of ten machines of 1070 m2/h.
#[test]
fn a_place_that_bars_no_machine_is_ground_like_any_other() {
    let document = evaluate(&yard(10, 0, 711.0, (200.0, 900.0)), now())
        .depot
        .document;
    let works: Vec<_> = document
        .works
        .iter()
        .map(|work| (work.narrowest_width_mm, work.machines, work.needed_rate))
        .collect();
    assert_eq!(works, [(None, 10, 2063.0)]);
    assert_eq!(
        (document.score, document.needed_rate, document.operators),
        (Some(100.0), 2063.0, Some(6))
    );
}

/// The ramp needs 400 x 5 / 12.6 = 159 m2/h from machines that fit, all together 2143 from all: two machines of 1070 and
/// two of 0.8 x 0.9 x 2400 x 0.7 = 1209 bring it with any three of four, or with a wide and another: 2279 or 2418, not
/// with the two narrow ones, 2140. The ramp is kept unless both narrow ones are out.
#[test]
fn machines_that_pass_a_narrow_place_serve_wide_ground_too() {
    let mut facts = yard(2, 2, 800.0, (400.0, 750.0));
    let evaluation = evaluate(&facts, now());
    let document = &evaluation.depot.document;
    let works: Vec<_> = document
        .works
        .iter()
        .map(|work| (work.narrowest_width_mm, work.machines, work.needed_rate))
        .collect();
    assert_eq!(works, [(Some(750.0), 2, 159.0), (None, 4, 2143.0)]);
    // Depot-wide: not the narrow places twice.
    assert_eq!(
        (document.needed_rate, document.operators),
        (2143.0, Some(6))
    );
    let inputs = &evaluation.depot.inputs;
    let (mut ramp, mut all) = (0.0, 0.0);
    for (node, weight) in inputs.weights.iter().enumerate() {
        let p: Vec<f64> = evaluation
            .units
            .iter()
            .map(|unit| unit.works[node])
            .collect();
        let (narrow, wide) = (p[0], p[2]);
        ramp += weight * (1.0 - (1.0 - narrow).powi(2));
        let one_wide = 2.0 * wide * (1.0 - wide) * (1.0 - (1.0 - narrow).powi(2));
        all += weight * (wide * wide + one_wide);
    }
    let percent = |chance: f64| (100.0 * chance).round();
    assert_eq!(
        [document.works[0].score, document.works[1].score],
        [percent(ramp), percent(all)]
    );
    assert_eq!(document.score, Some(percent(ramp * all)));
    // With no machine that fits, the narrow place cannot be kept.
    facts.units.drain(..2);
    let document = evaluate(&facts, now()).depot.document;
    assert_eq!(document.score, Some(0.0));
    let text = &document.because[0].text;
    assert!(
        text.contains("no machine is rigged for it and fits"),
        "{text}"
    );
}

/// Operators are entered for the ground up to a width; those of the next wider ground clear what has none of its own.
#[test]
fn operators_of_narrow_places_are_among_all() {
    let mut facts = yard(2, 2, 800.0, (400.0, 750.0));
    let mut entered = |entries: &[(Option<f64>, u32)]| -> Vec<Option<u32>> {
        facts.operators = entries
            .iter()
            .map(|(width, people)| crate::facts::Operators {
                narrowest_width_mm: *width,
                ..operators(*people)
            })
            .collect();
        let works = evaluate(&facts, now()).depot.document.works;
        works.iter().map(|work| work.operators).collect()
    };
    assert_eq!(entered(&[]), [None, None]);
    assert_eq!(entered(&[(None, 3)]), [Some(3), Some(3)]);
    assert_eq!(entered(&[(None, 3), (Some(750.0), 1)]), [Some(1), Some(4)]);
    assert_eq!(entered(&[(Some(750.0), 1)]), [Some(1), None]);
}

/// Of six machines two are wide. With five operators three have narrow ones anyhow, so the ramp costs nothing; with two, one of
/// the wide machines of 1209 (in whole tens 1200) gives way to a narrow one of 1070: 130 more are needed.
#[test]
fn a_narrow_place_costs_what_must_give_way_to_it() {
    let needed = |people: u32| {
        let mut facts = yard(4, 2, 800.0, (400.0, 750.0));
        facts.operators = vec![operators(people)];
        let document = evaluate(&facts, now()).depot.document;
        document.works.last().expect("all ground").needed_rate
    };
    assert_eq!(needed(5), 2143.0);
    assert_eq!(needed(2), 2143.0 + 130.0);
}

/// P(somebody's choice of at most `operators` of the working machines keeps both up), over every outcome and choice, and
/// over the nodes: `fits` says which pass the narrow place.
fn by_enumeration(
    evaluation: &Evaluation,
    operators: u32,
    needs: (f64, f64),
    fits: &[bool],
) -> f64 {
    let units = &evaluation.units;
    let rates: Vec<f64> = units.iter().map(|unit| unit.document.rate).collect();
    let keeps_up = |out: u32| {
        let one = |index: &usize| out >> index & 1 == 1;
        let narrow: f64 = (0..rates.len())
            .filter(one)
            .filter(|i| fits[*i])
            .map(|i| rates[i])
            .sum();
        let all: f64 = (0..rates.len()).filter(one).map(|i| rates[i]).sum();
        out.count_ones() <= operators && narrow >= needs.0 && all >= needs.0 + needs.1
    };
    let mut kept = 0.0;
    for working in 0_u32..1 << units.len() {
        if !(0..=working).any(|out| out & !working == 0 && keeps_up(out)) {
            continue;
        }
        for (node, weight) in evaluation.depot.inputs.weights.iter().enumerate() {
            let chances = units.iter().enumerate().map(|(index, unit)| {
                let works = unit.works[node];
                if working >> index & 1 == 1 {
                    works
                } else {
                    1.0 - works
                }
            });
            kept += weight * chances.product::<f64>();
        }
    }
    kept
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(40))]

    /// Whoever goes out knowing which machines work can do at least what the score says, and at most what the least of the
    /// kinds of work says; machines long stood, so that the chances are far from 1.
    #[test]
    fn the_score_is_a_bound_of_what_can_be_done(
        stood in proptest::collection::vec(0_i64..400, 2..7), narrow in 1_usize..6, wide_mm in 500.0..1600.0_f64,
        platforms in 500.0..12_000.0_f64, ramp in 50.0..4000.0_f64, people in 1_u32..7,
    ) {
        let narrow = narrow.min(stood.len()) as u32;
        // Wide machines as slow or fast as comes, all kept off the ramp.
        let mut facts = yard(narrow, stood.len() as u32 - narrow, 800.0, (ramp, 750.0));
        let wide = facts.sheets.get_mut(&WIDE).unwrap();
        wide.rate.speed_m_per_h.value *= wide_mm / 800.0;
        facts.duties[0].area_m2 = platforms;
        facts.operators = vec![operators(people)];
        for (unit, days) in facts.units.iter_mut().zip(&stood) {
            let standing = |unit: &mut UnitFacts| {
                unit.latest.retain(|reading| reading.check != "engine_start");
                unit.starts[0].at = now_plus_days(-days);
            };
            standing(unit);
        }
        let evaluation = evaluate(&facts, now());
        let fits: Vec<bool> = facts.units.iter().map(|unit| unit.model == MODEL).collect();
        let needs = (ramp * 5.0 / 12.6, platforms * 5.0 / 12.6);
        // Those that stood since before storage count only in the score with the unproven.
        let exact = by_enumeration(&evaluation, people, needs, &fits);
        let document = &evaluation.depot.document;
        let least = document.works.iter().map(|work| work.score_with_unproven).fold(100.0, f64::min);
        let score = document.score_with_unproven.unwrap();
        proptest::prop_assert!(score <= 100.0 * exact + 0.5 + 1e-9, "{score} {exact}");
        if evaluation.depot.inputs.works.iter().all(|work| work.needed_rate <= needs.0 + needs.1 + 1e-6) {
            proptest::prop_assert!(least >= 100.0 * exact - 0.5 - 1e-9, "{least} {exact}");
        }
    }
}
