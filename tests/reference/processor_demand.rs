//! Needed rates by the processor-demand criterion (Baruah, Rosier & Howell 1990), worked by hand.

use rimeyard_rules::calculations::needed_rate::{DutyInput, Input, Output, calculate};
use rimeyard_rules::sheet::RateUnit;

fn ask(storm_hours: f64, depth_mm: f64, reclear_mm: f64, duties: &[(f64, f64)]) -> Output {
    calculate(&Input {
        storm_hours,
        depth_mm,
        reclear_mm,
        duties: duties
            .iter()
            .map(|(area_m2, clear_within_h)| DutyInput {
                area_m2: *area_m2,
                clear_within_h: *clear_within_h,
                dose_g_m2: None,
            })
            .collect(),
    })
    .unwrap()
}

fn close(got: f64, by_hand: f64) {
    assert!(
        (got - by_hand).abs() < 1e-9 * by_hand.max(1.0),
        "{got} is not {by_hand}"
    );
}

/// One cycle, one duty: all of it in its time, 1200 m2 / 4 h.
#[test]
fn one_duty_once() {
    let got = ask(8.0, 40.0, 50.0, &[(1200.0, 4.0)]);
    assert_eq!(got.cycles, 1);
    close(got.needed_rate, 300.0);
}

/// 12 h, 150 mm, re-clear 50 mm: n = 3, tau = 4 h. Duty of 1000 m2 within 2 h is owed at 2, 6 and 10 h:
/// 1000/2 = 500, 2000/6 = 333, 3000/10 = 300. The first cycle binds.
#[test]
fn a_short_deadline_binds_in_its_first_cycle() {
    let got = ask(12.0, 150.0, 50.0, &[(1000.0, 2.0)]);
    assert_eq!(got.cycles, 3);
    close(got.needed_rate, 500.0);
}

/// The same storm, 1000 m2 within 10 h: owed at 10, 14 and 18 h: 100, 2000/14 = 142.86, 3000/18 = 166.67. The last
/// cycle binds: cycles pile up behind a long deadline.
#[test]
fn a_long_deadline_binds_in_the_last_cycle() {
    let got = ask(12.0, 150.0, 50.0, &[(1000.0, 10.0)]);
    close(got.needed_rate, 3000.0 / 18.0);
}

/// Two duties, n = 2, tau = 6 h: 600 m2 within 2 h (owed at 2 and 8 h), 1800 m2 within 4 h (owed at 4 and 10 h).
/// L = 2: 600/2 = 300. L = 4: (600 + 1800)/4 = 600. L = 8: (1200 + 1800)/8 = 375. L = 10: 4800/10 = 480.
#[test]
fn duties_add_up_at_the_tightest_instant() {
    let got = ask(12.0, 100.0, 50.0, &[(600.0, 2.0), (1800.0, 4.0)]);
    assert_eq!(got.cycles, 2);
    close(got.needed_rate, 600.0);
}

/// A deadline that falls on the next cycle's start: n = 3, tau = 4 h, 1000 m2 within 4 h: owed at 4, 8, 12 h, always
/// 250; and 500 m2 within 8 h, owed at 8, 12, 16 h: at 8 h 2500/8 = 312.5, at 12 h (3000 + 1000)/12 = 333.3, at 16 h
/// (3000 + 1500)/16 = 281.25.
#[test]
fn deadlines_that_meet_count_together() {
    let got = ask(12.0, 150.0, 50.0, &[(1000.0, 4.0), (500.0, 8.0)]);
    close(got.needed_rate, 4000.0 / 12.0);
}

/// 0.3 / 0.1 is 2.9999999999999996 and 0.7 / 0.1 is 6.999999999999999 in doubles, and 3 x 0.1 / 0.1 is
/// 3.0000000000000004: three, seven and three cycles. One cycle more or less is a rate up to 41 % wrong.
#[test]
fn cycles_survive_the_rounding_of_doubles() {
    for (depth, reclear, cycles) in [
        (0.3, 0.1, 3),
        (0.7, 0.1, 7),
        (3.0 * 0.1, 0.1, 3),
        (150.0, 50.0, 3),
        (151.0, 50.0, 4),
    ] {
        assert_eq!(ask(12.0, depth, reclear, &[(1.0, 1.0)]).cycles, cycles);
    }
    // tau = 10/3 h and T = 10/3: the second deadline of one duty and the first of another 20/3 later must meet.
    let tau = 10.0 / 3.0;
    let got = ask(10.0, 3.0, 1.0, &[(100.0, tau), (100.0, 2.0 * tau)]);
    // Owed at tau: 100, 2 tau: 300, 3 tau: 500, 4 tau: 600; over time 30, 45, 50, 45.
    close(got.needed_rate, 50.0);
}

/// Kilograms likewise: the two duties of before, spread with 10 and 30 g/m2, are 6 kg and 54 kg. L = 2: 6/2 = 3. L = 4:
/// (6 + 54)/4 = 15. L = 8: (12 + 54)/8 = 8.25. L = 10: 120/10 = 12.
#[test]
fn kilograms_are_owed_as_ground_is() {
    let duty = |area_m2, clear_within_h, dose| DutyInput {
        area_m2,
        clear_within_h,
        dose_g_m2: Some(dose),
    };
    let got = calculate(&Input {
        storm_hours: 12.0,
        depth_mm: 100.0,
        reclear_mm: 50.0,
        duties: vec![duty(600.0, 2.0, 10.0), duty(1800.0, 4.0, 30.0)],
    })
    .unwrap();
    close(got.needed_rate, 15.0);
    assert_eq!(got.rate_unit, RateUnit::Material);
}

#[test]
fn no_snow_or_no_ground_needs_nothing() {
    assert_eq!(
        ask(12.0, 0.0, 50.0, &[(1000.0, 2.0)]),
        Output {
            needed_rate: 0.0,
            rate_unit: RateUnit::Ground,
            cycles: 0
        }
    );
    assert_eq!(
        ask(12.0, 150.0, 50.0, &[]),
        Output {
            needed_rate: 0.0,
            rate_unit: RateUnit::Ground,
            cycles: 3
        }
    );
}

#[test]
fn what_cannot_be_is_refused_by_its_field() {
    let good = Input {
        storm_hours: 12.0,
        depth_mm: 150.0,
        reclear_mm: 50.0,
        duties: vec![DutyInput {
            area_m2: 1000.0,
            clear_within_h: 2.0,
            dose_g_m2: None,
        }],
    };
    let duty = |area_m2, clear_within_h| {
        vec![DutyInput {
            area_m2,
            clear_within_h,
            dose_g_m2: None,
        }]
    };
    for (input, field) in [
        (
            Input {
                storm_hours: 0.0,
                ..good.clone()
            },
            "storm_hours",
        ),
        (
            Input {
                depth_mm: -1.0,
                ..good.clone()
            },
            "depth_mm",
        ),
        (
            Input {
                reclear_mm: 0.0,
                ..good.clone()
            },
            "reclear_mm",
        ),
        (
            Input {
                depth_mm: 1e9,
                reclear_mm: 1e-3,
                ..good.clone()
            },
            "reclear_mm",
        ),
        (
            Input {
                duties: duty(-1.0, 2.0),
                ..good.clone()
            },
            "duties[0].area_m2",
        ),
        (
            Input {
                duties: duty(1.0, 0.0),
                ..good.clone()
            },
            "duties[0].clear_within_h",
        ),
        (
            Input {
                storm_hours: f64::INFINITY,
                ..good.clone()
            },
            "storm_hours",
        ),
    ] {
        assert_eq!(calculate(&input).unwrap_err().field, field);
    }
}
