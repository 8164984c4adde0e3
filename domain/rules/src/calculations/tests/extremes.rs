//! Numbers from one end of what is allowed to the other: every answer is a number, every chance a chance, soon.

use super::*;
use crate::wear::fit::Method;
use proptest::prelude::*;

/// Over 0: usual sizes and the ends.
fn positive() -> impl Strategy<Value = f64> {
    prop_oneof![
        Just(1e-12),
        Just(1e-6),
        0.01..100.0_f64,
        Just(1e6),
        Just(1e12)
    ]
}

/// At least 0.
fn not_negative() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), positive()]
}

/// Any.
fn number() -> impl Strategy<Value = f64> {
    (not_negative(), any::<bool>()).prop_map(|(size, minus)| if minus { -size } else { size })
}

fn days() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), Just(1e-9), 0.0..200.0_f64, Just(DAYS_MAX)]
}

fn power() -> impl Strategy<Value = f64> {
    prop_oneof![Just(1e-12), 0.1..5.0_f64, Just(SHAPE_MAX)]
}

fn use_shape() -> impl Strategy<Value = f64> {
    prop_oneof![Just(1e-12), 0.01..5.0_f64, Just(USE_SHAPE_MAX)]
}

fn share() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), 0.0..=1.0_f64, Just(1.0)]
}

/// The prior's days are over 0.
fn prior_days() -> impl Strategy<Value = f64> {
    days().prop_map(|days| days.max(1e-12))
}

fn prior_of_wear() -> impl Strategy<Value = wear::Prior> {
    (number(), positive(), number(), positive(), positive()).prop_map(
        |(as_new, as_new_sd, rate, rate_sd, reading_sd)| wear::Prior {
            as_new,
            as_new_sd,
            rate,
            rate_sd,
            reading_sd,
        },
    )
}

fn readings() -> impl Strategy<Value = Vec<wear::Reading>> {
    prop::collection::vec(
        (not_negative(), number()).prop_map(|(hours, value)| wear::Reading { hours, value }),
        0..4,
    )
}

fn is_chance(value: f64) -> bool {
    (0.0..=1.0).contains(&value)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn wear(prior in prior_of_wear(), readings in readings(), limit in number(), at_hours in not_negative(), grows: bool) {
        let input = wear::Input { prior, readings, limit, at_hours: vec![at_hours], grows };
        let got = wear::calculate(&input).unwrap();
        prop_assert!(got.as_new.is_finite() && got.rate.is_finite(), "{got:?}");
        prop_assert!(got.covariance.iter().flatten().all(|entry| entry.is_finite()), "{got:?}");
        prop_assert!(is_chance(got.lasts[0]), "{got:?}");
    }

    #[test]
    fn wear_season(
        prior in prior_of_wear(), readings in readings(), limit in number(), from_hours in not_negative(), grows: bool,
        shape in use_shape(), prior_days in prior_days(), prior_hours_per_day in positive(), run_hours in not_negative(),
        snow_days in days(), scenarios in prop::collection::vec(days(), 1..4),
    ) {
        let usage = wear_season::UsageInput { shape, prior_days, prior_hours_per_day, run_hours, snow_days };
        let input = wear_season::Input { prior, readings, limit, from_hours, usage, scenarios, grows };
        let got = wear_season::calculate(&input).unwrap();
        prop_assert!(is_chance(got.lasts), "{got:?}");
        for hours in [got.hours_p10, got.hours_p50, got.hours_p90].into_iter().flatten() {
            prop_assert!(hours.is_finite() && hours >= 0.0, "{got:?}");
        }
    }

    #[test]
    fn wear_fit(
        groups in prop::collection::vec(
            prop::collection::vec((not_negative(), number()).prop_map(|(hours, value)| wear::Reading { hours, value }), 0..6),
            0..9,
        ),
        grows: bool, ml: bool,
    ) {
        let groups: Vec<_> = groups.into_iter().map(|readings| wear_fit::Group { readings }).collect();
        let method = if ml { Method::Ml } else { Method::Reml };
        match wear_fit::calculate(&wear_fit::Input { groups, method, grows }) {
            Ok(got) => {
                let errors = got.standard_errors;
                let known = [errors.as_new_sd, errors.rate_sd, errors.reading_sd];
                let sizes = [got.as_new_sd, got.rate_sd, got.reading_sd, errors.as_new, errors.rate];
                prop_assert!(sizes.into_iter().chain(known.into_iter().flatten()).all(|size| size.is_finite() && size >= 0.0), "{got:?}");
                prop_assert!(got.as_new.is_finite() && got.rate.is_finite() && got.log_likelihood.is_finite(), "{got:?}");
                prop_assert!(got.reading_sd > 0.0, "{got:?}");
                prop_assert!(got.bend.is_none_or(|bend| is_chance(bend.chance) && bend.curvature.is_finite()), "{got:?}");
            }
            Err(fault) => prop_assert_eq!(fault.field, "groups"),
        }
    }

    #[test]
    fn running_hours(
        shape in use_shape(), prior_days in prior_days(), prior_hours_per_day in positive(), run_hours in not_negative(),
        snow_days in days(), future_days in days(), at_hours in not_negative(),
    ) {
        let input = running_hours::Input {
            shape, prior_days, prior_hours_per_day, run_hours, snow_days, future_days, at_hours,
        };
        let got = running_hours::calculate(&input).unwrap();
        prop_assert!(is_chance(got.at_most), "{got:?}");
        prop_assert!(got.hours_per_day.is_finite(), "{got:?}");
        prop_assert!(0.0 <= got.p10 && got.p10 <= got.p50 && got.p50 <= got.p90 && got.p90.is_finite(), "{got:?}");
    }

    #[test]
    fn life(
        shape in power(), prior_scale in positive(), prior_weight in positive(),
        ages in prop::collection::vec((not_negative(), not_negative(), any::<bool>()), 0..4),
        age in not_negative(), next in not_negative(),
    ) {
        let histories = ages
            .into_iter()
            .map(|(entry, more, failed)| life::HistoryInput { entry, exit: (entry + more).min(1e12), failed })
            .collect();
        let input = life::Input { shape, prior_scale, prior_weight, histories, age, next };
        let got = life::calculate(&input).unwrap();
        prop_assert!(got.alpha.is_finite() && got.beta.is_finite(), "{got:?}");
        prop_assert!(is_chance(got.lasts), "{got:?}");
    }

    #[test]
    fn life_fit(
        ages in prop::collection::vec((not_negative(), not_negative(), any::<bool>()), 0..5),
        found in prop::collection::vec((not_negative(), not_negative(), positive()), 0..3),
    ) {
        let end = |age: f64| age.min(1e12);
        let histories = ages
            .into_iter()
            .map(|(entry, more, failed)| life::HistoryInput { entry, exit: end(entry + more), failed })
            .collect();
        let found_failed = found
            .into_iter()
            .map(|(entry, more, late)| life_fit::FoundFailedInput {
                entry,
                sound: end(entry + more),
                found: end(entry + more + late),
            })
            .filter(|life| life.sound < life.found)
            .collect();
        match life_fit::calculate(&life_fit::Input { histories, found_failed }) {
            Ok(got) => {
                let errors = got.standard_errors;
                let over_0 = [got.shape, got.scale, errors.shape, errors.scale];
                prop_assert!(over_0.iter().all(|figure| figure.is_finite() && *figure > 0.0), "{got:?}");
                prop_assert!(got.log_likelihood.is_finite(), "{got:?}");
            }
            Err(fault) => prop_assert!(fault.field.starts_with("histories"), "{fault}"),
        }
    }

    #[test]
    fn breaks(alpha in positive(), beta in positive(), hours in not_negative(), spares in 0..1_000_000_u32) {
        let input = breaks::Input { alpha, beta, hours, spares: f64::from(spares) };
        prop_assert!(is_chance(breaks::calculate(&input).unwrap().enough));
    }

    #[test]
    fn starts(
        alpha in positive(), beta in positive(), shape in power(), at_once in share(), factor in not_negative(),
        days in not_negative(), started: bool,
    ) {
        let input = starts::Input { alpha, beta, days, shape, at_once, factor };
        prop_assert!(is_chance(starts::calculate(&input).unwrap().starts));
        let tests = vec![start_fit::Test { days, started }; 3];
        let input = start_fit::Input { alpha, beta, shape, at_once, factor, tests };
        match start_fit::calculate(&input) {
            Ok(got) => prop_assert!(got.alpha.is_finite() && got.beta.is_finite() && got.alpha > 0.0, "{got:?}"),
            Err(fault) => prop_assert!(!started, "{fault}"),
        }
    }

    #[test]
    fn depot(
        units in prop::collection::vec((share(), not_negative()), 0..12), needed_rate in not_negative(),
        operators in prop::option::of((0..20_u32).prop_map(f64::from)),
    ) {
        let units = units.into_iter().map(|(works, rate)| depot::UnitInput { works, rate }).collect();
        let got = depot::calculate(&depot::Input { units, needed_rate, operators }).unwrap();
        prop_assert!((0.0..=100.0).contains(&got.score), "{got:?}");
        prop_assert!(is_chance(got.at_least) && is_chance(got.at_most) && got.at_least <= got.at_most, "{got:?}");
        prop_assert!(got.shortfall.is_finite() && got.shortfall >= 0.0, "{got:?}");
    }

    #[test]
    fn needed_rate(
        storm_hours in positive(), depth_mm in not_negative(), reclear_mm in positive(),
        area_m2 in not_negative(), clear_within_h in positive(),
    ) {
        let duties = vec![needed_rate::DutyInput { area_m2, clear_within_h, dose_g_m2: None }];
        let input = needed_rate::Input { storm_hours, depth_mm, reclear_mm, duties };
        if let Ok(got) = needed_rate::calculate(&input) {
            prop_assert!(got.needed_rate.is_finite() && got.needed_rate >= 0.0, "{got:?}");
        }
    }

    #[test]
    fn spares(
        wear_out in prop::collection::vec(share(), 0..5), alpha in positive(), beta in positive(), hours in not_negative(),
        service_level in prop_oneof![Just(1e-12), 0.01..0.999_f64, Just(1.0 - 1e-12)],
    ) {
        let breaks = Some(spares::Breaks { alpha, beta, hours: Some(hours) });
        let input = spares::Input { wear_out: Some(wear_out), winters: None, breaks, service_level };
        if let Ok(got) = spares::calculate(&input) {
            prop_assert!(got.mean.is_finite(), "{got:?}");
        }
    }
}
