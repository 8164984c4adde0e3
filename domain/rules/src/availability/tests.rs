use super::*;
use crate::due::Trigger;
use crate::sheet::{default_kinds, default_sheet};
use proptest::prelude::*;

/// Moubray, RCM II (2nd edition 1997), chapter 8: availability wanted of a hidden function, and the failure-finding
/// interval as a share of its mean time between failures (from memory; the same figures are in the table of "RCM, A
/// Practical Guide", page 45).
#[test]
fn intervals_are_the_published_shares() {
    for (unavailable, per_cent) in [
        (0.0001, 0.02),
        (0.0005, 0.1),
        (0.001, 0.2),
        (0.005, 1.0),
        (0.01, 2.0),
        (0.02, 4.0),
        (0.03, 6.0),
        (0.05, 10.0),
    ] {
        let got = failure_finding_interval(unavailable, 100.0).unwrap();
        assert!((got - per_cent).abs() < 1e-9, "{unavailable}: {got}");
    }
}

/// The worked example of the same page: 20 smoke detectors in use for 4 years, 8 of them found failed, so that the mean time
/// to failure is 10 years; for an availability of 99 % they are tested every 0.2 years, 73 days.
#[test]
fn smoke_detectors_are_tested_every_73_days() {
    let mean_time_to_failure = 20.0 * 4.0 / 8.0;
    let years = failure_finding_interval(0.01, mean_time_to_failure).unwrap();
    assert!((years - 0.2).abs() < 1e-12);
    assert!((years * 365.0 - 73.0).abs() < 1e-9);
}

/// What the default sheets say their tests of safety functions come from: 0.25 % of 50 machine-years, a quarter.
#[test]
fn sheets_test_safety_functions_as_often_as_they_say() {
    let months = 12.0 * failure_finding_interval(0.0025, 50.0).unwrap();
    let mut tasks = 0;
    for kind in default_kinds() {
        for task in default_sheet(kind).unwrap().tasks {
            if task.source.contains("failure-finding interval") {
                let every = |trigger: &Trigger| matches!(trigger, Trigger::Months { every } if f64::from(*every) == months);
                assert!(task.triggers.iter().any(every), "{kind}: {}", task.task);
                assert!(task.source.contains("2 x 0.25 % x 50 machine-years"));
                tasks += 1;
            }
        }
    }
    assert!(tasks >= 7, "{tasks}");
}

#[test]
fn what_is_no_share_or_no_time_has_no_figure() {
    for (unavailability, time) in [
        (0.0, 10.0),
        (-0.01, 10.0),
        (0.051, 10.0),
        (f64::NAN, 10.0),
        (0.01, 0.0),
        (0.01, -1.0),
        (0.01, f64::INFINITY),
        (0.01, f64::NAN),
    ] {
        assert_eq!(failure_finding_interval(unavailability, time), None);
    }
    for (between, repair) in [
        (0.0, 0.0),
        (-1.0, 2.0),
        (1.0, -2.0),
        (f64::NAN, 1.0),
        (f64::INFINITY, 1.0),
    ] {
        assert_eq!(inherent_availability(between, repair), None);
    }
    assert_eq!(compliance(0, 0), None);
    assert_eq!(compliance(3, 2), None);
}

proptest! {
    /// Failing at a constant rate l and tested every t, it is out for 1 - (1 - e^(-l t)) / (l t) of the time: never more
    /// than allowed, and not much less.
    #[test]
    fn what_is_allowed_is_kept_to(allowed in 1e-4..=0.05_f64, time in 0.1..1000.0_f64) {
        let x = failure_finding_interval(allowed, time).unwrap() / time;
        let out = 1.0 + (-x).exp_m1() / x;
        prop_assert!(out <= allowed && out > allowed * (1.0 - 0.034), "{out} {allowed}");
    }
}

/// A machine that fails 0.0002 times an hour and is down 6 hours each time: MTBF 5000 h, availability 0.9988, some 10.5 hours
/// a year out (Rausand & Hoyland, System Reliability Theory, a problem of the chapter on repairable systems; answer from
/// memory). And a car that runs 150 hours between failures and takes 6 to repair, up 96.2 % of the time (a common textbook
/// example of MTBF / (MTBF + MTTR), from memory).
#[test]
fn inherent_availability_is_as_published() {
    let got = inherent_availability(1.0 / 0.0002, 6.0).unwrap();
    assert!((got - 0.9988).abs() < 5e-5, "{got}");
    assert!(((1.0 - got) * 8760.0 - 10.5).abs() < 0.05);
    let got = inherent_availability(150.0, 6.0).unwrap();
    assert!((got - 0.962).abs() < 5e-4, "{got}");
    assert_eq!(inherent_availability(0.0, 6.0), Some(0.0));
    assert_eq!(inherent_availability(5.0, 0.0), Some(1.0));
}

#[test]
fn compliance_is_done_inside_over_fallen_due() {
    assert_eq!(compliance(9, 12), Some(0.75));
    assert_eq!(compliance(0, 4), Some(0.0));
    assert_eq!(compliance(4, 4), Some(1.0));
}

/// A season of 100 days, by hand.
#[test]
fn days_out_of_season_do_not_count_and_days_out_count_once() {
    let day = |month, day| Date::constant(2026, month, day);
    let season = Season {
        starts: day(1, 1),
        ends: day(4, 10),
    };
    let out = |from, until| Out { from, until };
    let got = |out: &[Out], today| availability_in_season(season, out, today);
    assert_eq!(got(&[], day(4, 10)), Some(1.0));
    // Ten days in it, of which the first five before the season began.
    let before = out(Date::constant(2025, 12, 27), Some(day(1, 5)));
    assert_eq!(got(&[before], day(4, 10)), Some(0.95));
    // Twice at once, one inside the other and one across its end: 11 to 30 January.
    let twice = [
        out(day(1, 11), Some(day(1, 25))),
        out(day(1, 12), Some(day(1, 13))),
        out(day(1, 20), Some(day(1, 30))),
    ];
    assert_eq!(got(&twice, day(4, 10)), Some(0.8));
    // Out still: of the 40 days so far the last ten.
    assert_eq!(got(&[out(day(1, 31), None)], day(2, 9)), Some(0.75));
    assert_eq!(got(&[out(day(1, 31), None)], day(12, 31)), Some(0.3));
    assert_eq!(
        got(&[out(day(5, 1), Some(day(6, 1)))], day(12, 31)),
        Some(1.0)
    );
    assert_eq!(got(&[out(day(1, 1), None)], day(1, 1)), Some(0.0));
    assert_eq!(got(&[], Date::constant(2025, 12, 31)), None);
    // A span that ends before it begins keeps nothing out.
    assert_eq!(
        got(&[out(day(2, 1), Some(day(1, 1)))], day(4, 10)),
        Some(1.0)
    );
}
