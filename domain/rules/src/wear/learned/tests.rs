use super::*;
use crate::wear::draws::{Draws, TRUTH, Truth};

/// A sheet that is off by half: what is learned is told from it.
fn sheet() -> WearPrior {
    WearPrior {
        as_new: 6.2,
        as_new_sd: 0.4,
        rate: 0.06,
        rate_sd: 0.02,
        reading_sd: 0.25,
        grows: false,
    }
}

fn known(readings: Vec<Vec<MeanReading>>) -> Vec<PartPath> {
    readings
        .into_iter()
        .map(|readings| PartPath {
            fitting_known: true,
            readings,
        })
        .collect()
}

fn mirrored(mut parts: Vec<PartPath>) -> Vec<PartPath> {
    for part in &mut parts {
        for reading in &mut part.readings {
            reading.value = -reading.value;
        }
    }
    parts
}

fn grows() -> WearPrior {
    WearPrior {
        as_new: -6.2,
        grows: true,
        ..sheet()
    }
}

#[track_caller]
fn kept_the_sheets(learned: &LearnedWear, because: &str) {
    assert_eq!((learned.prior, learned.from), (sheet(), LearnedFrom::Sheet));
    assert!(
        learned.because.starts_with("the sheet's figures: "),
        "{}",
        learned.because
    );
    assert!(learned.because.contains(because), "{}", learned.because);
}

/// So many figures of wear are told, each with its unit.
#[track_caller]
fn in_millimetres(learned: &LearnedWear, figures: usize) {
    assert_eq!(learned.unit, Some(Unit::Millimetre));
    let told = learned.because.matches("\u{202f}mm").count();
    assert_eq!(told, figures, "{}", learned.because);
}

#[test]
fn one_part_is_told_as_one() {
    let reading = |hours| MeanReading {
        hours,
        value: 6.0,
        repeats: 1,
    };
    let readings = [10.0, 20.0, 30.0].map(reading).to_vec();
    let learned = learn(&known(vec![readings]), &sheet(), Unit::Millimetre);
    kept_the_sheets(&learned, "1 part of known fitting date was read 3 times");
}

/// What was kept before figures had their unit beside them is read still.
#[test]
fn what_was_kept_without_a_unit_is_read() {
    let mut kept = serde_json::to_value(learn(&[], &sheet(), Unit::Millimetre)).unwrap();
    kept.as_object_mut().unwrap().remove("unit");
    let read: LearnedWear = serde_json::from_value(kept).unwrap();
    assert_eq!((read.unit, read.prior), (None, sheet()));
}

#[test]
fn a_fleet_teaches_once_eight_parts_were_read_thrice() {
    let mut draws = Draws(21);
    let mut thrice = || loop {
        let readings = TRUTH.part(&mut draws);
        if readings.len() >= 3 {
            return readings;
        }
    };
    let mut parts = known((0..7).map(|_| thrice()).collect());
    // Read once or twice, never, or fitted nobody knows when: none makes the eighth.
    let often = thrice();
    parts.extend(known(vec![
        often[..1].to_vec(),
        often[..2].to_vec(),
        vec![],
    ]));
    parts.push(PartPath {
        fitting_known: false,
        readings: often.clone(),
    });
    let learned = learn(&parts, &sheet(), Unit::Millimetre);
    kept_the_sheets(
        &learned,
        "7 parts of known fitting date were read 3 times or more, and it takes 8",
    );
    assert_eq!(
        (
            learned.parts,
            learned.parts_read_thrice,
            learned.parts_of_unknown_date
        ),
        (9, 7, 1)
    );
    assert_eq!((learned.fit, learned.bends), (None, None));

    parts.extend(known(vec![often]));
    let learned = learn(&parts, &sheet(), Unit::Millimetre);
    assert_eq!(learned.from, LearnedFrom::Fleet);
    assert!(
        learned.because.starts_with("learned from 10 parts with "),
        "{}",
        learned.because
    );
    in_millimetres(&learned, 2);
    // All of known date that were read are in the likelihood, the one of unknown date is not.
    let fit = learned.fit.unwrap();
    let readings: usize = parts
        .iter()
        .filter(|part| part.fitting_known)
        .map(|part| part.readings.len())
        .sum();
    assert_eq!((fit.groups, fit.readings), (10, readings));
    assert_eq!((learned.parts, learned.readings), (10, readings));
    assert_eq!(learned.prior.rate, fit.rate);
    assert!((fit.rate - TRUTH.rate).abs() < 4.0 * fit.standard_errors.rate);
}

/// Parts are renewed at the first reading under 4. With all of them in the likelihood the rate is the truth; with those
/// read thrice alone it is far too low, since fast wearers are gone by then; and where parts of unknown date were taken for
/// new at their first reading, the value as new is wrecked.
#[test]
fn who_is_in_the_likelihood_matters() {
    let truth = Truth {
        renewed_under: 4.0,
        rate_sd: 0.014,
        ..TRUTH
    };
    let mut draws = Draws(22);
    let fleets = 40;
    let (mut all, mut chosen, mut as_new, mut wrecked) = (0.0, 0.0, 0.0, 0.0);
    for _ in 0..fleets {
        let fleet = truth.fleet(60, &mut draws);
        let learned = learn(&known(fleet.clone()), &sheet(), Unit::Millimetre);
        let fit = learned.fit.unwrap();
        all += fit.rate;
        as_new += fit.as_new;
        let thrice = fleet
            .iter()
            .filter(|part| part.len() >= 3)
            .cloned()
            .collect();
        chosen += learn(&known(thrice), &sheet(), Unit::Millimetre)
            .fit
            .unwrap()
            .rate;
        let begun: Vec<Vec<MeanReading>> = fleet
            .into_iter()
            .map(|mut part| {
                let first = part[0].hours;
                part.iter_mut().for_each(|reading| reading.hours -= first);
                part
            })
            .collect();
        wrecked += learn(&known(begun), &sheet(), Unit::Millimetre)
            .fit
            .unwrap()
            .as_new;
    }
    let mean = |sum: f64| sum / f64::from(fleets);
    assert!((mean(all) / truth.rate - 1.0).abs() < 0.02, "{}", mean(all));
    assert!(mean(chosen) < 0.95 * truth.rate, "{}", mean(chosen));
    assert!((mean(as_new) - 6.0).abs() < 0.05, "{}", mean(as_new));
    assert!(mean(wrecked) < 5.7, "{}", mean(wrecked));
}

#[test]
fn what_no_sheet_could_say_is_not_learned() {
    let mut draws = Draws(23);
    // Parts that gain where they should lose.
    let healing = known(
        Truth {
            rate: -0.04,
            ..TRUTH
        }
        .fleet(30, &mut draws),
    );
    let learned = learn(&healing, &sheet(), Unit::Millimetre);
    kept_the_sheets(&learned, "not wearing at all (rate -0.0");
    in_millimetres(&learned, 2);
    assert!(learned.fit.unwrap().rate < 0.0);
    // Read in their first hours only, of which no rate follows.
    let early = Truth {
        hours_most: 2.0,
        rate_sd: 0.0,
        ..TRUTH
    };
    let learned = learn(
        &known(early.fleet(12, &mut draws)),
        &sheet(),
        Unit::Millimetre,
    );
    kept_the_sheets(&learned, "is not told from none");
    in_millimetres(&learned, 2);
    // Rates that differ so much that some would be under none.
    let wild = known(
        Truth {
            rate_sd: 0.03,
            ..TRUTH
        }
        .fleet(60, &mut draws),
    );
    let learned = learn(&wild, &sheet(), Unit::Millimetre);
    kept_the_sheets(
        &learned,
        "would have parts heal; a mean rate is at least 2.5 times its spread",
    );
    in_millimetres(&learned, 2);
    assert!(learned.fit.unwrap().rate_sd > 0.02);
    // Exact lines.
    let exact = (0..9)
        .map(|i| {
            (0..4)
                .map(|j| MeanReading {
                    hours: f64::from(10 * j),
                    value: 6.0 - f64::from(i + 3 * j) / 8.0,
                    repeats: 1,
                })
                .collect()
        })
        .collect();
    let learned = learn(&known(exact), &sheet(), Unit::Millimetre);
    kept_the_sheets(&learned, "lie on straight lines exactly");
    assert_eq!(learned.fit, None);
    // All read at once.
    let at_once = (0..9)
        .map(|_| {
            (0..3)
                .map(|_| MeanReading {
                    hours: 40.0,
                    value: draws.normal(),
                    repeats: 1,
                })
                .collect()
        })
        .collect();
    kept_the_sheets(
        &learn(&known(at_once), &sheet(), Unit::Millimetre),
        "at the same hours",
    );
}

#[test]
fn a_spread_too_little_to_tell_stays_the_sheets() {
    let mut draws = Draws(24);
    let alike = Truth {
        as_new_sd: 0.0,
        rate_sd: 0.0,
        ..TRUTH
    };
    let (mut none_as_new, mut none_of_rates) = (0, 0);
    for _ in 0..40 {
        let learned = learn(
            &known(alike.fleet(20, &mut draws)),
            &sheet(),
            Unit::Millimetre,
        );
        let fit = learned.fit.unwrap();
        // Its mean rate is the fleet's own, and told so well that the sheet's spread may stand with it.
        if learned.from == LearnedFrom::Sheet {
            assert!(fit.rate < 2.5 * sheet().rate_sd);
            continue;
        }
        assert_eq!(learned.prior.rate, fit.rate);
        assert_eq!(learned.prior.reading_sd, fit.reading_sd);
        if fit.as_new_sd == 0.0 {
            none_as_new += 1;
            assert_eq!(learned.prior.as_new_sd, sheet().as_new_sd);
            assert!(
                learned
                    .because
                    .contains("differ as new is too little to tell"),
                "{}",
                learned.because
            );
        }
        if fit.rate_sd == 0.0 {
            none_of_rates += 1;
            assert_eq!(learned.prior.rate_sd, sheet().rate_sd);
        }
    }
    assert!(none_as_new > 5, "{none_as_new} {none_of_rates}");
}

#[test]
fn a_bending_fleet_is_told_of_whichever_way_it_goes() {
    let mut draws = Draws(25);
    for (curvature, how) in [(-0.0002, "wear quickens"), (0.0002, "wear slackens")] {
        let parts = known(
            Truth {
                curvature,
                rate_sd: 0.004,
                ..TRUTH
            }
            .fleet(150, &mut draws),
        );
        let learned = learn(&parts, &sheet(), Unit::Millimetre);
        assert!(
            learned.bends.as_ref().unwrap().starts_with(how),
            "{learned:?}"
        );
        let other = learn(&mirrored(parts), &grows(), Unit::Millimetre);
        assert_eq!(other.bends, learned.bends);
        assert!(other.because.contains("gaining") && learned.because.contains("losing"));
        assert_eq!(other.prior.as_new, -learned.prior.as_new);
        assert!(other.prior.grows);
    }
    assert_eq!(
        learn(
            &known(TRUTH.fleet(40, &mut draws)),
            &sheet(),
            Unit::Millimetre
        )
        .bends,
        None
    );
}

#[test]
fn what_was_learned_is_kept_as_json() {
    let mut draws = Draws(26);
    for parts in [2, 40] {
        let learned = learn(
            &known(TRUTH.fleet(parts, &mut draws)),
            &sheet(),
            Unit::Millimetre,
        );
        let text = serde_json::to_string(&learned).unwrap();
        let back: LearnedWear = serde_json::from_str(&text).unwrap();
        // A number read from JSON may differ in its last digit.
        let (a, b) = (learned.prior, back.prior);
        for (a, b) in [
            (a.as_new, b.as_new),
            (a.as_new_sd, b.as_new_sd),
            (a.rate, b.rate),
            (a.rate_sd, b.rate_sd),
            (a.reading_sd, b.reading_sd),
        ] {
            assert!((a - b).abs() <= 1e-15 * a.abs());
        }
        assert_eq!(
            (&back.because, back.from, back.parts, back.fit.is_some()),
            (
                &learned.because,
                learned.from,
                learned.parts,
                learned.fit.is_some()
            )
        );
        assert!(text.contains(r#""from":""#));
    }
}
