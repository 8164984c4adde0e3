//! Breaks of shear fasteners, by what the depots have booked.

use super::*;
use crate::life::LearnedBreaks;

const PART: Uuid = Uuid::from_u128(70);
const SINCE: &str = "2024-10-01T16:00:00Z";

/// A depot with so many machines of these models, each run 40 hours by the meter.
fn standing(number: u128, models: &[Uuid]) -> DepotFacts {
    let units = models.iter().zip(1..).map(|(model, place)| UnitFacts {
        model: *model,
        ..fresh_unit(number * 100 + place, 40.0)
    });
    let mut facts = depot(units.collect());
    facts.id = Uuid::from_u128(number);
    facts
}

fn booked(used: u64, since: &str) -> Booked {
    Booked {
        used,
        since: at(since),
    }
}

/// What those depots teach of how often the fasteners of each model break, where each has booked that.
fn taught(
    depots: &[DepotFacts],
    retired: &BTreeMap<Uuid, Timestamp>,
    models: &[Uuid],
    ledgers: &[Option<Booked>],
) -> BTreeMap<Uuid, LearnedBreaks> {
    let booked = depots.iter().zip(ledgers);
    let booked = booked.filter_map(|(facts, booked)| Some(((PART, facts.id), (*booked)?)));
    let fasteners = Fasteners {
        parts: models.iter().map(|model| (*model, PART)).collect(),
        booked: booked.collect(),
    };
    let sheets = models.iter().map(|model| (*model, two_stage_thrower()));
    let mut fleet = Fleet::new(sheets.collect(), fasteners);
    for facts in depots {
        fleet.look_at(facts, retired, now());
    }
    let lessons = fleet.teach().into_iter();
    lessons
        .map(|(model, learned)| (model, learned.breaks.expect("it has fasteners")))
        .collect()
}

fn of_one_model(
    depots: &[DepotFacts],
    retired: &BTreeMap<Uuid, Timestamp>,
    ledgers: &[Option<Booked>],
) -> LearnedBreaks {
    let mut all = taught(depots, retired, &[MODEL], ledgers);
    all.remove(&MODEL).expect("of that model")
}

/// The sheet is worth 2 breaks in 60 hours.
#[test]
fn machines_of_a_fastener_share_its_breaks() {
    let other = Uuid::from_u128(9);
    let facts = standing(1, &[MODEL, MODEL, other]);
    let all = taught(
        &[facts],
        &BTreeMap::new(),
        &[MODEL, other],
        &[Some(booked(6, SINCE))],
    );
    assert_eq!(all[&MODEL], all[&other]);
    let breaks = &all[&MODEL];
    assert_eq!((breaks.breaks, breaks.from), (6, LearnedFrom::Fleet));
    // Each ran its 40 hours by the meter, and a few since.
    assert!((120.0..140.0).contains(&breaks.hours), "{breaks:?}");
    assert_eq!(
        (breaks.alpha, breaks.beta_hours),
        (8.0, 60.0 + breaks.hours)
    );
}

/// A depot that books nothing of what it uses: its machines break fasteners that nobody counts, so nobody counts their hours.
#[test]
fn hours_count_where_breaks_are_booked_and_from_then_on() {
    let depots = [standing(1, &[MODEL]), standing(2, &[MODEL])];
    let nobody = BTreeMap::new();
    let both = of_one_model(&depots, &nobody, &[Some(booked(4, SINCE)); 2]);
    assert_eq!(both.breaks, 8);
    let one = of_one_model(&depots, &nobody, &[Some(booked(4, SINCE)), None]);
    assert_eq!(one.breaks, 4);
    assert!(
        (one.hours - both.hours / 2.0).abs() < 1e-9,
        "{one:?} {both:?}"
    );
    // The other began late: half of its hours by the meter lie before, those are spread over the time between.
    let late = Some(booked(1, "2025-04-26T04:00:00Z"));
    let late = of_one_model(&depots, &nobody, &[Some(booked(4, SINCE)), late]);
    assert_eq!(late.breaks, 5);
    assert!(
        (late.hours - (both.hours - 20.0)).abs() < 0.5,
        "{late:?} {both:?}"
    );
    let none = of_one_model(&depots, &nobody, &[None, None]);
    assert_eq!(
        (none.from, none.because.as_str()),
        (
            LearnedFrom::Sheet,
            "the sheet's figures: no running hours since their use is booked"
        )
    );
}

/// What a machine ran for others, before it was bought used, broke nothing that we booked.
#[test]
fn hours_before_anything_was_kept_of_a_machine_are_not_counted() {
    let mut facts = standing(1, &[MODEL]);
    let new = of_one_model(
        std::slice::from_ref(&facts),
        &BTreeMap::new(),
        &[Some(booked(2, SINCE))],
    );
    let unit = &mut facts.units[0];
    let came = at("2025-11-18T16:00:00Z");
    unit.meter.retain(|reading| reading.at == came);
    assert_eq!(unit.meter.len(), 1);
    unit.kept_since = Some(came);
    for part in &mut unit.parts {
        part.fitted_at = None;
        part.fitted_hours = None;
    }
    unit.acquired_on = None;
    let used = of_one_model(&[facts], &BTreeMap::new(), &[Some(booked(2, SINCE))]);
    assert!(new.hours > 40.0 && used.hours < 6.0, "{used:?} {new:?}");
}

/// Its breaks stay booked, and so do the hours in which they came.
#[test]
fn a_retired_machines_hours_count_until_then() {
    let facts = standing(1, &[MODEL, MODEL]);
    let gone = facts.units[1].id;
    let depots = [facts];
    let ledgers = [Some(booked(6, SINCE))];
    let (read, then) = (at("2025-11-18T16:00:00Z"), at("2025-04-26T04:00:00Z"));
    let all = of_one_model(&depots, &BTreeMap::new(), &ledgers);
    let after = of_one_model(&depots, &[(gone, read)].into(), &ledgers);
    assert!(after.hours < all.hours && after.hours >= 80.0, "{after:?}");
    let half = of_one_model(&depots, &[(gone, then)].into(), &ledgers);
    assert!(half.hours < after.hours && half.hours > 40.0, "{half:?}");
    assert_eq!((half.breaks, all.breaks), (6, 6));
}
