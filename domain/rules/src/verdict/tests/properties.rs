//! What must hold for every reading.

use proptest::prelude::*;

use super::*;
use crate::sheet::Reads;

/// Every measure of the default sheet that has one side only.
fn one_sided() -> Vec<CheckSpec> {
    sheet()
        .checks
        .into_iter()
        .filter(|check| {
            check.measure().is_some_and(|measure| {
                measure.limits.low.is_some() != measure.limits.high.is_some()
                    && measure.unit != crate::measure::Unit::Count
            })
        })
        .collect()
}

proptest! {
    /// A worse reading never has a better verdict, near limits and after repeats too.
    #[test]
    fn verdicts_are_monotone_in_the_reading(
        pick in 0usize..1000, from in -0.3f64..1.3, step in 0.0f64..0.3, repeats in 1u32..6,
    ) {
        let checks = one_sided();
        let check = &checks[pick % checks.len()];
        let measure = check.measure().unwrap();
        let new = measure.limits.as_new.value;
        let last = measure.limits.low.as_ref().or(measure.limits.high.as_ref()).unwrap().unserviceable_at.value;
        // From as new (0) to the last limit (1) and past both ends.
        let at = |share: f64| {
            let reading = ReadingInput { repeats: Some(repeats), ..measured(new + (last - new) * share, measure.unit.symbol()) };
            judge(check, &reading, &Context { backed_by: Some(Verdict::Unserviceable), low_c: None })
        };
        if let (Ok(better), Ok(worse)) = (at(from), at(from + step)) {
            prop_assert!(better.verdict <= worse.verdict, "{} {from} {step}: {better:?} {worse:?}", check.check);
        }
    }

    /// The unit a person likes changes nothing.
    #[test]
    fn the_unit_typed_does_not_matter(mm in 0.0f64..8.0) {
        let check = spec("friction_ring");
        let metric = judge(&check, &measured(mm, "mm"), &Context::default()).unwrap();
        let imperial = judge(&check, &measured(mm / 25.4, "in"), &Context::default()).unwrap();
        prop_assert_eq!(metric.verdict, imperial.verdict);
    }

    /// Whatever number a person sends for whatever check, there is a verdict or a fault with its field, and what is kept
    /// and said is a number.
    #[test]
    fn every_reading_is_judged_or_refused_by_its_field(
        pick in 0usize..1000,
        value in prop_oneof![prop::num::f64::ANY, -10.0f64..200.0, 1.0f64..1.4],
        unit in 0usize..crate::measure::Unit::ALL.len(),
        own_unit in any::<bool>(),
        choice in 0usize..4,
        works in any::<bool>(),
        repeats in prop::option::of(0u32..200),
        temperature_c in prop::option::of(prop_oneof![prop::num::f64::ANY, -40.0f64..40.0]),
        full_charge in prop::option::of(prop_oneof![Just(1.265), Just(1.280), prop::num::f64::ANY]),
        low_c in prop::option::of(prop_oneof![prop::num::f64::ANY, -60.0f64..10.0]),
    ) {
        let mut checks = sheet().checks;
        checks.extend(battery_checks());
        let check = &checks[pick % checks.len()];
        let mut reading = ReadingInput::default();
        match &check.reads {
            Reads::Measure(measure) => {
                let unit = if own_unit { measure.unit } else { crate::measure::Unit::ALL[unit] };
                reading = ReadingInput { repeats, temperature_c, full_charge, ..measured(value, unit.symbol()) };
                if measure.derived.is_none() {
                    (reading.temperature_c, reading.full_charge) = (None, None);
                }
            }
            Reads::Grade(grades) => reading.grade = grades.get(choice).map(|grade| grade.grade.clone()),
            Reads::Level(levels) => reading.level = levels.get(choice).map(|level| level.grade.clone()),
            Reads::Function => reading.works = Some(works),
        }
        match judge(check, &reading, &Context { low_c, backed_by: None }) {
            Ok(judged) => {
                prop_assert!(judged.value_si.is_none_or(f64::is_finite), "{judged:?}");
                prop_assert!(judged.judged_value.is_none_or(f64::is_finite), "{judged:?}");
                prop_assert!(judged.text.starts_with(&check.title));
            }
            Err(fault) => prop_assert!(!fault.field.is_empty() && !fault.problem.is_empty()),
        }
    }
}
