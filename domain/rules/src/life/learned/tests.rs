use super::*;
use crate::life::fit::draws::Draws;
use crate::sheet::Figure;

fn figure(value: f64) -> Figure {
    Figure {
        value,
        source: "common practice".to_owned(),
    }
}

/// Shape 2, scale 120 hours, worth 3 failures.
fn sheet() -> LifeSpec {
    LifeSpec {
        clock: Clock::Hours,
        shape: figure(2.0),
        prior_scale: figure(120.0),
        prior_weight: figure(3.0),
        failure: "give up".to_owned(),
    }
}

fn life(exit: f64, failed: bool) -> History {
    History {
        entry: 0.0,
        exit,
        failed,
    }
}

/// The sheet's shape with what the lives say of the scale.
#[track_caller]
fn kept_the_sheets(learned: &LearnedLife, histories: &[History], because: &str) {
    assert_eq!(
        (learned.life.shape, learned.shape_from),
        (2.0, LearnedFrom::Sheet)
    );
    assert_eq!(learned.life, Life::new(2.0, 120.0, 3.0, histories));
    assert_eq!(learned.because, because);
}

#[test]
fn without_lives_the_sheet_stands_and_it_is_said() {
    let learned = learn(&sheet(), &[], &[]);
    kept_the_sheets(
        &learned,
        &[],
        "no life on record: the sheet's scale; the sheet's shape, 2, stands: it takes 10 failures to question it",
    );
    assert_eq!((learned.life.alpha, learned.life.beta), (3.0, 43_200.0));
    assert_eq!(learned.seen, LivesSeen::default());
}

#[test]
fn few_failures_teach_the_scale_alone() {
    let mut histories = vec![life(100.0, true); 9];
    histories.extend(vec![life(50.0, false); 4]);
    let learned = learn(&sheet(), &histories, &[]);
    kept_the_sheets(
        &learned,
        &histories,
        "9 of 13 lives on record, 1100 running hours in all, ended by a failure; the sheet's shape, 2, stands: it takes 10 \
         failures to question it",
    );
    assert_eq!(learned.life.alpha, 12.0);
    assert!(learned.shape_test.is_none());
    let one = learn(&sheet(), &[life(50.0, false)], &[]);
    assert!(
        one.because
            .starts_with("1 life on record, 50 running hours long, still sound at its end; ")
    );
}

/// Twenty lives that are the sheet's to the letter: its quantiles.
#[test]
fn a_shape_that_fits_is_not_rejected() {
    let histories: Vec<History> = (0..20)
        .map(|i| life(120.0 * (-((f64::from(i) + 0.5) / 20.0).ln()).sqrt(), true))
        .collect();
    let learned = learn(&sheet(), &histories, &[]);
    let test = learned.shape_test.unwrap();
    assert!(test.chance > 0.5, "{test:?}");
    assert!(
        learned.because.starts_with("20 of 20 lives on record, ")
            && learned.because.contains("the sheet's shape, 2, stands: 2")
            && learned.because.ends_with(", which is not under 0.01"),
        "{}",
        learned.because
    );
    assert_eq!(
        (learned.life.shape, learned.shape_from),
        (2.0, LearnedFrom::Sheet)
    );
}

/// Twenty that fail within a few hours of each other, and few that fail at every age: neither is shape 2.
#[test]
fn a_shape_that_does_not_fit_is_rejected_and_it_is_said() {
    for true_shape in [6.0, 0.8] {
        let mut draws = Draws(17);
        let histories: Vec<History> = (0..40)
            .map(|_| life(draws.life(true_shape, 90.0), true))
            .collect();
        let learned = learn(&sheet(), &histories, &[]);
        let test = learned.shape_test.unwrap();
        assert!(test.chance < 0.01 && test.ratio > 6.634, "{test:?}");
        assert_eq!(
            (learned.life.shape, learned.shape_from),
            (test.fit.shape, LearnedFrom::Fleet)
        );
        // The prior goes on counting, in that shape.
        assert_eq!(
            learned.life,
            Life::new(test.fit.shape, 120.0, 3.0, &histories)
        );
        assert!(
            learned.because.contains("; the fleet's shape, "),
            "{}",
            learned.because
        );
        assert!(
            learned.because.contains(" in place of the sheet's 2: "),
            "{}",
            learned.because
        );
    }
}

/// What was found failed counts among the ten, and is in the test as what it is.
#[test]
fn failures_found_at_inspections_count() {
    let mut draws = Draws(3);
    let mut found_failed = Vec::new();
    for _ in 0..60 {
        let age = draws.life(6.0, 90.0);
        let sound = 10.0 * (age / 10.0).floor();
        found_failed.push(FoundFailed {
            entry: 0.0,
            sound,
            found: sound + 10.0,
        });
    }
    let learned = learn(&sheet(), &[], &found_failed);
    assert_eq!((learned.seen.failures, learned.seen.found_failed), (60, 60));
    assert!(learned.because.contains(
        "ended by a failure (60 of them found so at an inspection); the fleet's shape, "
    ));
    let fit = learned.shape_test.unwrap().fit;
    assert!(
        (fit.shape - 6.0).abs() < 3.0 * fit.standard_errors.shape,
        "{fit:?}"
    );
    let expected = Life::new(fit.shape, 120.0, 3.0, &[]).found_failed(&found_failed);
    assert_eq!(learned.life, expected);
    // Nine are too few.
    let few = learn(&sheet(), &[], &found_failed[..9]);
    assert!(few.because.ends_with("it takes 10 failures to question it"));
}

#[test]
fn where_there_is_no_fit_the_sheet_stands_and_it_is_said() {
    let histories = [life(80.0, true); 12];
    let learned = learn(&sheet(), &histories, &[]);
    kept_the_sheets(
        &learned,
        &histories,
        "12 of 12 lives on record, 960 running hours in all, ended by a failure; the sheet's shape, 2, stands: no part \
         outlasted one that failed, so that all may fail at one age and the shape grows without end; give parts that failed \
         at different ages, or that were sound at an age over that of a failure",
    );
    // A shape that no sheet may have: within a minute of each other.
    let histories: Vec<History> = (0..12)
        .map(|i| life(80.0 + 0.01 * f64::from(i), true))
        .collect();
    let learned = learn(&sheet(), &histories, &[]);
    assert!(
        learned
            .because
            .ends_with(" is no shape that a sheet may have"),
        "{}",
        learned.because
    );
    assert_eq!(
        (learned.life.shape, learned.shape_from),
        (2.0, LearnedFrom::Sheet)
    );
    assert!(learned.shape_test.is_some_and(|test| test.chance < 1e-6));
    assert!(learned.because.contains("under one in a million"));
}

/// A true shape is rejected as often as the test says, at least about: with so few failures the chi-square distribution
/// is only near. 4,000 fleets of twelve failures among parts watched for a while.
#[test]
fn a_true_shape_is_seldom_rejected() {
    let mut draws = Draws(29);
    let fleets = 4000;
    let rejected = (0..fleets)
        .filter(|_| {
            let histories = draws.watched(2.0, 120.0, 12);
            learn(&sheet(), &histories, &[]).shape_from == LearnedFrom::Fleet
        })
        .count();
    let share = rejected as f64 / f64::from(fleets);
    assert!((0.005..0.02).contains(&share), "{share}");
}

/// And a false one, off by a factor of two, mostly by forty failures.
#[test]
fn a_false_shape_is_mostly_rejected_by_forty_failures() {
    let mut draws = Draws(31);
    let rejected = (0..300)
        .filter(|_| {
            let histories = draws.watched(4.0, 120.0, 40);
            learn(&sheet(), &histories, &[]).shape_from == LearnedFrom::Fleet
        })
        .count();
    assert!(rejected > 270, "{rejected}");
}

#[test]
fn what_was_learned_is_kept_as_json() {
    let mut draws = Draws(7);
    let learned = learn(&sheet(), &draws.watched(6.0, 90.0, 30), &[]);
    let kept = serde_json::to_value(&learned).unwrap();
    assert_eq!(
        serde_json::from_value::<LearnedLife>(kept).unwrap(),
        learned
    );
}
