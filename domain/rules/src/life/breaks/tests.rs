use super::*;
use crate::sheet::two_stage_thrower;
use proptest::prelude::*;

proptest! {
    #[test]
    fn spares_help_and_hours_hurt(
        alpha in 0.2..30.0_f64, beta in 5.0..500.0_f64, hours in 0.0..300.0_f64, more in 0.0..100.0_f64, spares in 0..20_u32,
    ) {
        let now = breaks_enough(alpha, beta, hours, spares);
        prop_assert!((0.0..=1.0).contains(&now));
        prop_assert!(breaks_enough(alpha, beta, hours, spares + 1) >= now - 1e-14);
        prop_assert!(breaks_enough(alpha, beta, hours + more, spares) <= now + 1e-14);
        prop_assert_eq!(breaks_enough(alpha, beta, 0.0, spares), 1.0);
    }
}

fn sheet() -> ShearFasteners {
    let mut sheet = two_stage_thrower().shear_fasteners.unwrap();
    (sheet.alpha.value, sheet.beta_hours.value) = (2.0, 80.0);
    sheet
}

/// A Gamma and a Poisson number make a Gamma: 2 + 14 breaks in 80 + 400 hours, one in 30 hours.
#[test]
fn breaks_and_hours_add_up() {
    let learned = learn(&sheet(), 14, 400.0);
    assert_eq!((learned.alpha, learned.beta_hours), (16.0, 480.0));
    assert_eq!(learned.from, LearnedFrom::Fleet);
    assert_eq!(
        learned.because,
        "14 breaks in 400 running hours, beside the 2 in 80 that the sheet is worth"
    );
    assert_eq!(
        learn(&sheet(), 1, 1.2).because,
        "1 break in 1 running hour, beside the 2 in 80 that the sheet is worth"
    );
    // Hours without a break teach, too.
    let learned = learn(&sheet(), 0, 400.0);
    assert_eq!((learned.alpha, learned.beta_hours), (2.0, 480.0));
    assert!(breaks_enough(2.0, 480.0, 10.0, 0) > breaks_enough(2.0, 80.0, 10.0, 0));
}

#[test]
fn without_hours_the_sheet_stands_and_it_is_said() {
    for (breaks, hours, because) in [
        (
            0,
            0.0,
            "the sheet's figures: no running hours since their use is booked",
        ),
        (
            3,
            0.0,
            "the sheet's figures: 3 breaks on record, and no running hours beside that",
        ),
        (
            1,
            0.0,
            "the sheet's figures: 1 break on record, and no running hours beside that",
        ),
        (
            3,
            -5.0,
            "the sheet's figures: 3 breaks on record, and no running hours beside that",
        ),
        (
            3,
            f64::NAN,
            "the sheet's figures: 3 breaks on record, and no running hours beside that",
        ),
    ] {
        let learned = learn(&sheet(), breaks, hours);
        assert_eq!((learned.alpha, learned.beta_hours), (2.0, 80.0));
        assert_eq!(
            (learned.from, learned.because.as_str()),
            (LearnedFrom::Sheet, because)
        );
    }
}

#[test]
fn what_was_learned_is_kept_as_json() {
    let learned = learn(&sheet(), 100, 1000.0);
    let kept = serde_json::to_value(&learned).unwrap();
    assert_eq!(
        serde_json::from_value::<LearnedBreaks>(kept).unwrap(),
        learned
    );
}
