//! What is said of a machine's parts.

use super::*;

/// Common practice: a belt low in its groove whose take-up is used up sees the winter out and is renewed after it.
#[test]
fn a_low_belt_with_its_take_up_used_up_is_renewed_after_the_season() {
    let mut unit = fresh_unit(1, 40.0);
    set_reading(&mut unit, "auger_belt_ride", -0.6);
    set_reading(&mut unit, "auger_take_up", 5.0);
    let evaluation = evaluate(&depot(vec![unit]), now());
    let belt = part(&evaluation, "auger_belt");
    assert_eq!(belt.advice, Advice::RenewAfterTheSeason, "{belt:?}");
    assert!(
        belt.lasts.this_season >= 0.8
            && belt
                .text
                .contains("0.6\u{202f}mm below the rim on 18 Nov 2025"),
        "{belt:?}"
    );
    // Crossing a service limit is not a machine that stops: it is ready.
    assert_eq!(evaluation.units[0].document.status, Status::Ready);
    assert!(belt.text.contains("take-up"), "{}", belt.text);
}

/// Section 4's floors: under 0.95 for the storm now, under 0.80 for a season order or renew after it, else leave.
#[test]
fn advice_grows_more_urgent_as_a_belt_sinks() {
    let advice: Vec<Advice> = [0.3, -0.6, -1.6, -2.7]
        .into_iter()
        .map(|ride| {
            let mut unit = fresh_unit(1, 40.0);
            set_reading(&mut unit, "auger_belt_ride", ride);
            set_reading(&mut unit, "auger_take_up", 95.0);
            part(&evaluate(&depot(vec![unit]), now()), "auger_belt").advice
        })
        .collect();
    assert_eq!(
        advice,
        [
            Advice::Leave,
            Advice::RenewAfterTheSeason,
            Advice::OrderThePart,
            Advice::RenewNow
        ]
    );
}

/// A friction ring at steel on steel does no work: chance 0, whatever the rest.
#[test]
fn a_part_past_where_it_works_is_a_zero() {
    let mut unit = fresh_unit(1, 60.0);
    set_reading(&mut unit, "friction_ring", 0.0);
    let document = &evaluate(&depot(vec![unit]), now()).units[0].document;
    assert_eq!((document.status, document.chance), (Status::NotReady, 0.0));
    assert_eq!(
        (
            document.because[0].factor.as_str(),
            document.because[0].share
        ),
        ("friction_ring", 1.0)
    );
    // And nothing beside it says otherwise.
    let ring = document
        .parts
        .iter()
        .find(|state| state.part == "friction_ring");
    let ring = ring.expect("its ring");
    assert_eq!(
        (ring.advice, ring.lasts.storm, ring.lasts.next_season),
        (Advice::RenewNow, 0.0, 0.0)
    );
    let measured = ring.measured.as_ref().expect("a measured part");
    assert_eq!(
        (measured.hours.p10, measured.hours.p90),
        (Some(0.0), Some(0.0))
    );
    assert_eq!(measured.dates.p90, Some(jiff::civil::date(2025, 11, 18)));
}

/// An imported machine, fitting dates unknown and never measured: nobody knows, so it says measure.
#[test]
fn a_part_of_unknown_age_that_was_never_measured_is_to_be_measured() {
    let mut unit = fresh_unit(1, 60.0);
    for path in &mut unit.parts {
        (path.fitted_at, path.fitted_hours) = (None, None);
        path.readings.clear();
    }
    let evaluation = evaluate(&depot(vec![unit]), now());
    assert_eq!(part(&evaluation, "scraper_bar").advice, Advice::Measure);
    assert!(
        part(&evaluation, "engine")
            .text
            .contains("taken as the machine's")
    );
}

/// Parts that failed young teach the depot that such parts live shorter: three failures beside a prior worth three, at
/// ages that add nearly nothing, double the doubt.
#[test]
fn failed_parts_teach_the_depot() {
    let mut facts = depot((1..=4).map(|number| fresh_unit(number, 60.0)).collect());
    let cable = |facts: &DepotFacts| {
        let evaluation = evaluate(facts, now());
        evaluation.units[0]
            .inputs
            .factors
            .iter()
            .find(|factor| factor.factor == "auger_cable")
            .unwrap()
            .chance
    };
    let before = cable(&facts);
    for unit in &mut facts.units[1..] {
        let path = unit
            .parts
            .iter_mut()
            .find(|path| path.part == "auger_cable")
            .unwrap();
        let mut renewed = path.clone();
        (path.removed_at, path.removed_hours, path.failed) =
            (Some(at("2025-02-01T00:00:00Z")), Some(15.0), Some(true));
        (renewed.id, renewed.how) = (
            Uuid::from_u128(renewed.id.as_u128() + 500),
            crate::facts::Fitting::Renewed,
        );
        (renewed.fitted_at, renewed.fitted_hours) = (Some(at("2025-02-01T00:00:00Z")), Some(15.0));
        unit.parts.push(renewed);
    }
    let ratio = (1.0 - cable(&facts)) / (1.0 - before);
    assert!((1.9..2.05).contains(&ratio), "{ratio}");
}

/// Section 4's unknown fitting date, by hand: A ~ N((5.5 + 0)/2, 5.5^2), so a ring read 3.1 mm +- 0.2 stands there
/// whatever its machine's 400 hours, and loses 0.04 +- 0.014 mm an hour: after h hours
/// P = Phi((3.1 - 0.04 h) / sqrt(0.2^2 + (0.014 h)^2)), at 60 h Phi(0.811) = 0.791.
#[test]
fn a_ring_of_unknown_age_wears_on_from_where_it_was_read() {
    let mut unit = fresh_unit(1, 400.0);
    set_reading(&mut unit, "friction_ring", 3.1);
    for path in &mut unit.parts {
        (path.fitted_at, path.fitted_hours) = (None, None);
    }
    // Read at 400 hours, and 400 hours still today: the storm's are all that come.
    unit.meter = vec![crate::facts::MeterFacts {
        at: now(),
        ..unit.meter[1]
    }];
    let mut facts = depot(vec![unit]);
    // One machine for the ground that takes it 60 hours: 5 cycles of so many m2.
    let rate = evaluate(&facts, now()).units[0].document.rate;
    facts.duties = vec![duty("platforms", 60.0 * rate / 5.0, None)];
    facts.duties[0].clear_within_h = 100.0;
    let evaluation = evaluate(&facts, now());
    let ring = evaluation.units[0]
        .inputs
        .factors
        .iter()
        .find(|factor| factor.factor == "friction_ring")
        .expect("a ring that may fail");
    assert!((ring.chance - 0.791).abs() < 0.002, "{}", ring.chance);
}

/// Ends the part's path on 20 November at 100 hours and begins another, which has no readings yet.
fn refit(unit: &mut crate::facts::UnitFacts, part: &str, how: crate::facts::Fitting) {
    let path = unit
        .parts
        .iter_mut()
        .rfind(|path| path.part == part)
        .expect(part);
    let mut next = path.clone();
    (path.removed_at, path.removed_hours) = (Some(at("2025-11-20T16:00:00Z")), Some(100.0));
    (next.fitted_at, next.fitted_hours) = (path.removed_at, path.removed_hours);
    (next.id, next.how) = (Uuid::from_u128(next.id.as_u128() + 500), how);
    next.readings.clear();
    unit.parts.push(next);
}

/// A machine at 100 hours with such a belt, and the same after something was done to the belt.
fn belt_before_and_after(ride: f64, take_up: f64, how: crate::facts::Fitting) -> [PartState; 2] {
    let mut unit = fresh_unit(1, 100.0);
    set_reading(&mut unit, "auger_belt_ride", ride);
    set_reading(&mut unit, "auger_take_up", take_up);
    let mut after = unit.clone();
    refit(&mut after, "auger_belt", how);
    [unit, after].map(|unit| part(&evaluate(&depot(vec![unit]), now()), "auger_belt").clone())
}

/// Moving a take-up makes no belt newer: its ride, its readings and its chances are what they were. What is left of the
/// take-up nobody knows until it is measured again.
#[test]
fn an_adjusted_belt_is_as_worn_as_it_was() {
    use crate::facts::Fitting;
    let [before, after] = belt_before_and_after(-1.6, 95.0, Fitting::Adjusted);
    assert!(before.lasts.next_season < 0.8, "{before:?}");
    assert_eq!(
        (after.lasts, after.measured),
        (before.lasts, before.measured)
    );
    let [before, after] = belt_before_and_after(0.2, 5.0, Fitting::Adjusted);
    assert!(
        before.text.contains(" that its take-up lasts next season"),
        "{before:?}"
    );
    assert!(!after.text.contains("take-up"), "{after:?}");
    // Renewed, it is as new: 0.8 mm over the rim less 0.035 mm an hour is far from -3 mm in one storm.
    let [_, after] = belt_before_and_after(-1.6, 95.0, Fitting::Renewed);
    assert!(
        after.lasts.storm > 0.99 && after.text.contains("not measured"),
        "{after:?}"
    );
}

/// A shoe turned over shows its other side, as new; turned once more it shows the worn one again, and nobody knows how
/// worn. 5.5 mm less 0.03 mm an hour reaches 0 after 183 hours.
#[test]
fn a_turned_shoe_is_as_new_once() {
    use crate::facts::Fitting;
    let mut unit = fresh_unit(1, 100.0);
    set_reading(&mut unit, "skid_thickness", 0.4);
    let shoe = |unit: &crate::facts::UnitFacts| {
        part(&evaluate(&depot(vec![unit.clone()]), now()), "skid_shoes").clone()
    };
    let worn = shoe(&unit);
    assert!(worn.lasts.this_season < 0.5, "{worn:?}");
    refit(&mut unit, "skid_shoes", Fitting::Turned);
    let turned = shoe(&unit);
    let median = turned
        .measured
        .as_ref()
        .and_then(|measured| measured.hours.p50);
    assert!(
        (175.0..=190.0).contains(&median.expect("it will wear through")),
        "{turned:?}"
    );
    refit(&mut unit, "skid_shoes", Fitting::Turned);
    assert_eq!(shoe(&unit).advice, Advice::Measure);
    refit(&mut unit, "skid_shoes", Fitting::Renewed);
    refit(&mut unit, "skid_shoes", Fitting::Turned);
    assert_eq!(shoe(&unit).measured, turned.measured);
}

/// The chance that the auger cable of the first of two machines lasts a storm of d hours at age x is
/// (beta / (beta + (x + d)^2 - x^2))^alpha: the sheet's shape is 2, its prior 3 failures at 900 hours, and the first
/// machine's own 60 sound hours count. Answers alpha and beta as the factor's figure says them.
fn learned_of_cables(second: impl Fn(&mut crate::facts::UnitFacts)) -> (f64, f64) {
    let mut facts = depot((1..=2).map(|number| fresh_unit(number, 60.0)).collect());
    second(&mut facts.units[1]);
    let evaluation = evaluate(&facts, now());
    let factors = &evaluation.units[0].inputs.factors;
    let cable = factors
        .iter()
        .find(|factor| factor.factor == "auger_cable")
        .expect("its cable");
    match &cable.figure {
        Some(standing::Figure::Life(life)) => (
            life.prior_weight,
            life.prior_weight * life.prior_scale.powf(life.shape),
        ),
        other => panic!("{other:?}"),
    }
}

/// Section 5 by hand: "entered at e_i". Both machines' cables are 60 hours old; of the second nothing was kept before it
/// had 40 hours: beta = 3 x 900^2 + 60^2 + (60^2 - 40^2).
#[test]
fn a_part_counts_from_when_anything_was_kept_of_its_machine() {
    let since = |kept_since: &str| {
        let kept_since = at(kept_since);
        let (alpha, beta) = learned_of_cables(|unit| {
            unit.kept_since = Some(kept_since);
            // 40 hours on that day.
            unit.meter.push(crate::facts::MeterFacts {
                at: at("2025-03-01T16:00:00Z"),
                hours: 40.0,
                ..unit.meter[0]
            });
        });
        assert!((alpha - 3.0).abs() < 1e-9);
        beta
    };
    let from_new = 3.0 * 900.0_f64.powi(2) + 2.0 * 60.0_f64.powi(2);
    assert!((since("2024-10-01T16:00:00Z") - from_new).abs() < 1e-6);
    let entered = from_new - 40.0_f64.powi(2);
    assert!((since("2025-03-01T16:00:00Z") - entered).abs() < 1e-6);
}

/// Section 5 by hand: found failed at 55 hours, sound at the inspection at 40: the likelihood is
/// exp(-L 40^2) - exp(-L 55^2), the posterior a difference of two Gammas, taken as the Gamma of its mean and variance.
#[test]
fn a_part_found_failed_failed_since_it_was_sound() {
    let learned = |sound_at: Option<&str>| {
        learned_of_cables(|unit| {
            unit.meter.push(crate::facts::MeterFacts {
                at: at("2025-03-01T16:00:00Z"),
                hours: 40.0,
                ..unit.meter[0]
            });
            let cables = unit.parts.iter_mut();
            let mut cable = cables.into_iter().filter(|path| path.part == "auger_cable");
            let cable = cable.next().expect("its cable");
            (cable.removed_at, cable.removed_hours) =
                (Some(at("2025-11-18T15:00:00Z")), Some(55.0));
            (cable.failed, cable.sound_at) = (Some(true), sound_at.map(at));
        })
    };
    let by_hand = |sound: f64| {
        let beta = 3.0 * 900.0_f64.powi(2) + 60.0_f64.powi(2) + sound * sound;
        let later = beta - sound * sound + 55.0 * 55.0;
        let moment = |order: i32| beta.powi(-3 - order) - later.powi(-3 - order);
        let mean = 3.0 * moment(1) / moment(0);
        let variance = 12.0 * moment(2) / moment(0) - mean * mean;
        (mean * mean / variance, mean / variance)
    };
    // Never inspected in between: it failed anywhere in its 55 hours.
    for (sound_at, sound) in [(None, 0.0), (Some("2025-03-01T16:00:00Z"), 40.0)] {
        let ((alpha, beta), (by_alpha, by_beta)) = (learned(sound_at), by_hand(sound));
        assert!((alpha / by_alpha - 1.0).abs() < 1e-7, "{alpha} {by_alpha}");
        assert!((beta / by_beta - 1.0).abs() < 1e-7, "{beta} {by_beta}");
    }
    // Found sound and failed at one age: a failure at that age, alpha + 1.
    let (alpha, _) = learned(Some("2025-11-18T14:59:00Z"));
    assert!((3.9..=4.0001).contains(&alpha), "{alpha}");
}

/// Section 4: hours to come are counted from now. A shoe of unknown age read 5.0 mm +- 0.15 today, with a storm at
/// Christmas: (5 - 0) / 0.03 = 167 hours from today, as without it; to five hours 165.
#[test]
fn hours_to_come_are_counted_from_now_and_not_from_the_storm() {
    let mut unit = fresh_unit(1, 60.0);
    set_reading(&mut unit, "skid_thickness", 5.0);
    for path in &mut unit.parts {
        (path.fitted_at, path.fitted_hours) = (None, None);
    }
    unit.meter[1].at = now();
    let mut facts = depot(vec![unit]);
    let median = |facts: &DepotFacts| {
        let shoe = part(&evaluate(facts, now()), "skid_shoes").clone();
        shoe.measured.expect("a measured part").hours.p50
    };
    assert_eq!(median(&facts), Some(165.0));
    facts
        .storms
        .push(storm(1, "2025-12-25T00:00:00Z", "2025-12-25T12:00:00Z"));
    assert_eq!(median(&facts), Some(165.0));
}

/// Section 4's residuals against h. Readings at 0, 20, 40 and 60 hours, s = 0.2 mm: of h^2 there is left (1, -1, -1, 1)
/// by orthogonal polynomials, so the bend is (y0 - y1 - y2 + y3) / 2 in units of s: 5.5, 5.4, 4.6, 3.0 give -1.5 / 2 /
/// 0.2 = -3.75, past 3.29; 5.5, 5.3, 4.6, 3.2 give -1.2 / 2 / 0.2 = -3.0.
#[test]
fn a_path_that_bends_is_flagged() {
    let ring = |values: [f64; 4]| {
        let mut unit = fresh_unit(1, 60.0);
        let path = unit
            .parts
            .iter_mut()
            .find(|path| path.part == "friction_ring")
            .expect("its ring");
        let one = path.readings[0].clone();
        let days = ["2024-10-02", "2024-12-02", "2025-02-02", "2025-11-18"];
        path.readings = (0..4)
            .map(|index| crate::facts::PathReading {
                at: at(&format!("{}T16:00:00Z", days[index])),
                hours: Some(20.0 * index as f64),
                value: values[index],
                ..one.clone()
            })
            .collect();
        part(&evaluate(&depot(vec![unit]), now()), "friction_ring").clone()
    };
    let bends = ring([5.5, 5.4, 4.6, 3.0]);
    assert!(bends.measured.expect("measured").bends && bends.text.contains("not lie on a line"));
    let straight = ring([5.5, 5.3, 4.6, 3.2]);
    assert!(!straight.measured.expect("measured").bends);
}

/// In April, the meter last read in November and no snow to come: nothing of the season is left but the storm, so a part
/// that is sound sees the season out if it sees the storm out. What it has run since the meter was read is behind it.
#[test]
fn what_a_part_ran_since_the_meter_was_read_is_no_part_of_what_it_must_last() {
    let mut facts = depot(vec![fresh_unit(1, 60.0)]);
    let sheet = facts.sheets.get_mut(&MODEL).unwrap();
    let cable = sheet
        .parts
        .iter_mut()
        .find(|part| part.part == "auger_cable");
    // Short-lived, or none of it would show.
    cable.unwrap().life.as_mut().unwrap().prior_scale.value = 100.0;
    let lasts = |facts: &DepotFacts, as_of| part(&evaluate(facts, at(as_of)), "auger_cable").lasts;
    let april = lasts(&facts, "2026-04-09T18:00:00Z");
    assert!((0.5..0.9).contains(&april.storm), "{april:?}");
    assert_eq!(april.this_season, april.storm, "{april:?}");
    // With the season before it, that is another thing.
    let november = lasts(&facts, "2025-11-20T18:00:00Z");
    assert!(november.this_season < november.storm - 0.1, "{november:?}");
}
