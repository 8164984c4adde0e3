use super::*;
use crate::sheet::two_stage_thrower;

/// 0.98 at once, worth 20 starts; goes dead at 2 in 600 days.
fn sheet() -> StartFigures {
    let mut sheet = two_stage_thrower().start;
    (sheet.at_once.value, sheet.at_once_weight.value) = (0.98, 20.0);
    (sheet.alpha.value, sheet.beta.value, sheet.shape.value) = (2.0, 600.0, 1.0);
    sheet
}

fn test(days: f64, started: bool) -> StartTest {
    StartTest {
        days,
        started,
        factor: 1.0,
    }
}

#[test]
fn without_starts_the_sheet_stands_and_it_is_said() {
    let learned = learn(&sheet(), &[]);
    assert_eq!(
        learned.rate,
        StartRate {
            alpha: 2.0,
            beta: 600.0,
            shape: 1.0,
            at_once: 0.98
        }
    );
    assert_eq!(
        (learned.from, learned.because.as_str()),
        (
            LearnedFrom::Sheet,
            "the sheet's figures: no start on record"
        )
    );
}

/// By hand: of 30 starts within two days 27 were good, (19.6 + 27) / 50 = 0.932, the mean of Beta(19.6 + 27, 0.4 + 3); three
/// good ones after 10, 40 and 50 days add 100 days to 600.
#[test]
fn starts_soon_after_a_run_teach_the_chance_at_once_and_others_the_rate() {
    let mut tests = vec![test(0.0, true); 10];
    tests.extend(vec![test(1.0, true); 10]);
    tests.extend(vec![test(2.0, true); 7]);
    tests.extend(vec![test(1.5, false); 3]);
    tests.extend([test(10.0, true), test(40.0, true), test(50.0, true)]);
    let learned = learn(&sheet(), &tests);
    assert!((learned.rate.at_once - 0.932).abs() < 1e-12);
    assert_eq!((learned.rate.alpha, learned.rate.beta), (2.0, 700.0));
    assert_eq!(learned.from, LearnedFrom::Fleet);
    assert_eq!(
        learned.because,
        "0 of 3 starts after more than two days of standing failed; 3 of 30 within two days of a run"
    );
    assert_eq!(
        learned.seen,
        StartsSeen {
            at_once: 30,
            failed_at_once: 3,
            stood: 3,
            failed_after_standing: 0
        }
    );
    // Days that count for more, as the sheet's factors say.
    let old_fuel = StartTest {
        factor: 2.0,
        ..test(40.0, true)
    };
    assert_eq!(learn(&sheet(), &[old_fuel]).rate.beta, 680.0);
}

/// A failed start after standing is learned from with the chance at once that the fleet has, by the same rule.
#[test]
fn a_failed_start_after_standing_is_no_dated_event() {
    let tests = [test(1.0, false), test(60.0, false), test(90.0, true)];
    let learned = learn(&sheet(), &tests);
    let at_once = 19.6 / 21.0;
    let expected = StartRate {
        alpha: 2.0,
        beta: 600.0,
        shape: 1.0,
        at_once,
    }
    .learn(&[tests[1], tests[2]]);
    assert_eq!(learned.rate, expected);
    assert!(learned.rate.alpha > 2.0 && learned.rate.alpha < 3.0);
}

#[test]
fn what_is_the_sheets_yet_is_said() {
    let learned = learn(&sheet(), &[test(1.0, true)]);
    assert_eq!(
        learned.because,
        "how fast it goes dead is the sheet's: no start after more than two days of standing on record; 0 of 1 within two \
         days of a run"
    );
    assert_eq!((learned.rate.alpha, learned.rate.beta), (2.0, 600.0));
    let learned = learn(&sheet(), &[test(30.0, false)]);
    assert_eq!(
        learned.because,
        "1 of 1 start after more than two days of standing failed; the chance of starting at once is the sheet's: no start \
         within two days of a run on record"
    );
    assert_eq!(learned.rate.at_once, 0.98);
}

#[test]
fn what_was_learned_is_kept_as_json() {
    let learned = learn(&sheet(), &[test(1.0, true), test(30.0, false)]);
    let kept = serde_json::to_value(&learned).unwrap();
    assert_eq!(
        serde_json::from_value::<LearnedStart>(kept).unwrap(),
        learned
    );
}
