//! The generator by itself: the same every time, in bounds, and with its truth kept to itself.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_api::demo::plan::{Agency, Machine, Model, TruePath, Truth};
use rimeyard_api::demo::{self, cases};
use rimeyard_rules::facts::Fitting;
use uuid::Uuid;

/// Late November, mid July, February, a 29th of February, the first hours of a district's year and the end of one.
pub const DATES: [&str; 6] = [
    "2026-11-26T17:00:00Z",
    "2026-07-15T17:00:00Z",
    "2026-02-10T15:00:00Z",
    "2028-02-29T15:00:00Z",
    "2027-07-01T09:30:00Z",
    "2027-06-30T18:00:00Z",
];

/// Machines of all kinds.
const MACHINES: usize = 327;

fn at(date: &str) -> Timestamp {
    date.parse().expect("an instant")
}

fn machines(agency: &Agency) -> impl Iterator<Item = &Machine> {
    agency.depots.iter().flat_map(|depot| &depot.machines)
}

#[test]
fn the_same_instant_and_seed_give_the_same_agency() {
    let now = at(DATES[0]);
    let told = |now, seed| format!("{:?}", demo::generate(now, seed));
    let first = told(now, 7);
    assert!(first == told(now, 7), "the same");
    assert!(first != told(now, 8), "another seed");
    assert!(first != told(at(DATES[1]), 7), "another date");
}

#[test]
fn it_is_as_large_as_promised_and_nothing_lies_in_the_future() {
    for date in DATES {
        let now = at(date);
        let (agency, truths) = demo::generate(now, demo::SEED);
        assert_eq!(
            (agency.depots.len(), machines(&agency).count(), truths.len()),
            (12, MACHINES, MACHINES),
            "{date}"
        );
        let inspections: usize = machines(&agency)
            .map(|machine| machine.inspections.len())
            .sum();
        let readings: usize = machines(&agency)
            .flat_map(|machine| &machine.inspections)
            .map(|one| one.readings.len())
            .sum();
        assert!(
            (2_900..=4_000).contains(&inspections),
            "{date}: {inspections} inspections"
        );
        assert!(
            (50_000..=75_000).contains(&readings),
            "{date}: {readings} readings"
        );

        let zones: BTreeSet<&str> = agency
            .depots
            .iter()
            .map(|depot| depot.depot.zone.as_str())
            .collect();
        assert_eq!(zones.len(), 2);
        let ahead_h = agency.storm.starts_at.duration_since(now).as_secs_f64() / 3600.0;
        assert!(
            (29.0..=30.0).contains(&ahead_h),
            "{date}: the storm comes in {ahead_h} h"
        );

        let mut ids = BTreeSet::new();
        for depot in &agency.depots {
            for one in &depot.stock {
                assert!(
                    one.happened_at <= now && ids.insert(one.id.expect("an id")),
                    "{date}: booked at {}",
                    one.happened_at
                );
            }
            let zone = jiff::tz::TimeZone::get(&depot.depot.zone).expect("a zone");
            let days: BTreeSet<Date> = depot.snowfall.iter().map(|day| day.on).collect();
            assert_eq!(days.len(), depot.snowfall.len(), "{date}: each day once");
            assert!(days.last() < Some(&zone.to_datetime(now).date()), "{date}");
        }
        for machine in machines(&agency) {
            let tag = &machine.tag;
            assert!(ids.insert(machine.id), "{date}: {tag}");
            for one in &machine.inspections {
                assert!(one.at <= now, "{date}: {tag} inspected at {}", one.at);
                assert!(ids.insert(one.id), "{date}: {tag}");
                let checks: BTreeSet<&str> = one
                    .readings
                    .iter()
                    .map(|reading| reading.check.as_str())
                    .collect();
                assert_eq!(
                    checks.len(),
                    one.readings.len(),
                    "{date}: {tag}: each check once"
                );
            }
            for reading in &machine.meter {
                assert!(
                    reading.at <= now && ids.insert(reading.id),
                    "{date}: {tag} read at {}",
                    reading.at
                );
            }
            for task in &machine.tasks {
                assert!(
                    task.at <= now && ids.insert(task.id),
                    "{date}: {tag}: {} done at {}",
                    task.task,
                    task.at
                );
            }
            for fitting in &machine.fittings {
                assert!(
                    fitting.at <= now && ids.insert(fitting.id),
                    "{date}: {tag} fitted at {}",
                    fitting.at
                );
                assert_eq!(
                    fitting.failed.is_some(),
                    fitting.how == Fitting::Renewed,
                    "{date}: {tag}"
                );
            }
        }
    }
}

#[test]
fn most_machines_were_inspected_since_the_first_of_july() {
    for date in DATES {
        let now = at(date);
        let (agency, _) = demo::generate(now, demo::SEED);
        for depot in &agency.depots {
            let zone = jiff::tz::TimeZone::get(&depot.depot.zone).expect("a zone");
            let today = zone.to_datetime(now).date();
            let year = if today.month() >= 7 {
                today.year()
            } else {
                today.year() - 1
            };
            let july = Date::constant(year, 7, 1)
                .to_zoned(zone)
                .expect("a day")
                .timestamp();
            let seen = |machine: &&Machine| machine.inspections.iter().any(|one| one.at >= july);
            let share =
                depot.machines.iter().filter(seen).count() as f64 / depot.machines.len() as f64;
            assert!(
                (0.75..1.0).contains(&share),
                "{date}: {share} at {}",
                depot.depot.name
            );
        }
    }
}

/// Hours only ever grow, but for the one meter that is there to run backwards; a few inspections have none.
#[test]
fn meters_run_forwards_but_for_the_one() {
    for date in DATES {
        let (agency, _) = demo::generate(at(date), demo::SEED);
        let mut backwards = BTreeSet::new();
        let (mut inspections, mut forgotten) = (0, 0);
        // What has no engine has no meter: its operator estimates.
        let unmetered = |model: &&Model| model.sheet.check_spec("hour_meter").is_none();
        let unmetered: BTreeSet<Uuid> = agency
            .models
            .iter()
            .filter(unmetered)
            .map(|model| model.id)
            .collect();
        assert_eq!(unmetered.len(), 2, "{date}");
        for machine in machines(&agency) {
            if unmetered.contains(&machine.model) {
                assert!(
                    machine.meter.iter().all(|reading| reading.estimated)
                        && machine
                            .inspections
                            .iter()
                            .all(|one| one.run_hours.is_none()),
                    "{date}: {}",
                    machine.tag
                );
                continue;
            }
            let inspected = machine
                .inspections
                .iter()
                .filter_map(|one| Some((one.at, one.run_hours?)));
            let read = machine.meter.iter().filter(|reading| !reading.estimated);
            let read = read.filter_map(|reading| Some((reading.at, reading.run_hours?)));
            let mut hours: Vec<(Timestamp, f64)> = inspected.chain(read).collect();
            hours.sort_by_key(|(at, _)| *at);
            if hours.windows(2).any(|two| two[1].1 < two[0].1) {
                backwards.insert(machine.tag.as_str());
            }
            inspections += machine.inspections.len();
            forgotten += machine
                .inspections
                .iter()
                .filter(|one| one.run_hours.is_none())
                .count();
        }
        assert_eq!(
            backwards,
            BTreeSet::from([cases::METER_BACKWARDS]),
            "{date}"
        );
        let share = forgotten as f64 / inspections as f64;
        assert!(
            (0.02..0.08).contains(&share),
            "{date}: {share} of the inspections without hours"
        );
    }
}

/// The true number behind a reading never gets out: what is written down has the gauge's step and the hand's scatter.
#[test]
fn readings_are_the_truth_as_a_hand_and_a_gauge_see_it() {
    let (agency, truths) = demo::generate(at(DATES[0]), demo::SEED);
    let truths: BTreeMap<&str, &Truth> = truths
        .iter()
        .map(|truth| (truth.tag.as_str(), truth))
        .collect();
    // Check, the gauge's step, and one sigma of a reading: the hand's scatter and the rounding to the step.
    let scatter = |hand: f64, step: f64| (hand * hand + step * step / 12.0).sqrt();
    let checks = [
        ("scraper_edge", 0.5, scatter(0.45, 0.5)),
        ("friction_ring", 0.1, scatter(0.18, 0.1)),
    ];
    for (check, step, sigma) in checks {
        let mut errors = Vec::new();
        for machine in machines(&agency) {
            let truth = truths[machine.tag.as_str()];
            let case = [cases::WORN_SCRAPER].contains(&machine.tag.as_str());
            for one in machine.inspections.iter().filter(|_| !case) {
                let reading = one.readings.iter().find(|reading| reading.check == check);
                let millimetres = reading.filter(|reading| reading.unit.as_deref() == Some("mm"));
                let (Some(value), Some(hours)) = (millimetres.and_then(|r| r.value), one.run_hours)
                else {
                    continue;
                };
                let steps = value / step;
                assert!(
                    (steps - steps.round()).abs() < 1e-9,
                    "{}: {check} {value}",
                    machine.tag
                );
                errors.extend(true_value(truth, check, hours).map(|truth| value - truth));
            }
        }
        // The machines whose ring is made to be worn out are far off by design.
        errors.retain(|error| error.abs() < 5.0 * sigma);
        let n = errors.len() as f64;
        assert!(n > 300.0, "{check}: {n} readings");
        let mean = errors.iter().sum::<f64>() / n;
        let sd = (errors
            .iter()
            .map(|error| (error - mean).powi(2))
            .sum::<f64>()
            / n)
            .sqrt();
        assert!(
            mean.abs() < 4.0 * sigma / n.sqrt(),
            "{check}: biased by {mean}"
        );
        assert!(
            (0.85..1.2).contains(&(sd / sigma)),
            "{check}: scatter {sd}, wanted {sigma}"
        );
    }
}

/// The true value at those hours, where it is clear which part was on then.
fn true_value(truth: &Truth, check: &str, hours: f64) -> Option<f64> {
    let of_check = |path: &&TruePath| path.check == check;
    if truth
        .wear
        .iter()
        .filter(of_check)
        .any(|path| (path.fitted_hours - hours).abs() < 0.2)
    {
        return None;
    }
    let on = truth
        .wear
        .iter()
        .filter(of_check)
        .rfind(|path| path.fitted_hours < hours)?;
    Some((on.as_new + on.rate * (hours - on.fitted_hours)).max(0.0))
}

/// What is stored names no truth, neither as a word nor as a number.
#[test]
fn no_true_figure_is_among_the_facts() {
    let (agency, truths) = demo::generate(at(DATES[0]), demo::SEED);
    let facts = format!("{agency:?}");
    for word in ["goes_dead", "hard_on", "as_new:", "true_"] {
        let sheets = facts.matches(word).count();
        let in_sheets = format!("{:?}", agency.models).matches(word).count();
        assert_eq!(sheets, in_sheets, "{word}");
    }
    let numbers: BTreeSet<&str> = facts
        .split(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | 'e')))
        .filter(|number| number.len() > 6)
        .collect();
    let mut looked_for = 0;
    for truth in &truths {
        let secrets = truth.wear.iter().flat_map(|path| [path.rate, path.as_new]);
        for secret in secrets
            .chain([truth.goes_dead_a_day])
            .chain(truth.hours.iter().map(|(_, hours)| *hours))
        {
            let secret = format!("{secret:?}");
            // Short figures (a value cut off at 0 or 100) are no secret.
            if secret.len() > 6 {
                looked_for += 1;
                assert!(
                    !numbers.contains(secret.as_str()),
                    "{}: {secret}",
                    truth.tag
                );
            }
        }
    }
    assert!(looked_for > 20_000, "{looked_for}");
}
