//! What is noted of one machine.

use jiff::Timestamp;
use rimeyard_rules::facts::{
    CheckFound, FittedPartFacts, Fitting, InspectionFacts, InspectionKind, LatestReading,
    MeterFacts, PathReading, StartFacts, UnitFacts,
};
use rimeyard_rules::sheet::Work;
use rimeyard_rules::verdict::Verdict;
use uuid::Uuid;

use super::super::figures::Population;
use super::super::machine::{Fitted, Machine, Reading, Round};
use super::super::sky::{Day, THIS_WINTER, date, july};
use super::{MODELS, at};

const BY: &str = "a technician";

/// The machine of that number.
pub fn unit(number: u128, population: &Population, machine: &Machine) -> UnitFacts {
    let kept = |day: Day| day >= machine.since;
    // What the loader leaves out: all before 1 July of last winter but the newest.
    let window = july(THIS_WINTER - 1);
    let attempts = machine.attempts.iter().filter(|one| kept(one.day));
    let mut before = attempts
        .clone()
        .filter(|one| one.started && one.day < window);
    let starts = before
        .next_back()
        .into_iter()
        .chain(attempts.filter(|one| one.day >= window));
    let starts: Vec<StartFacts> = starts
        .map(|one| StartFacts {
            at: at(one.day, one.hour),
            started: one.started,
            by: BY.to_owned(),
        })
        .collect();
    let two_years = july(THIS_WINTER - 2);
    let before = machine.meter.partition_point(|(day, _)| *day < two_years);
    let stored = machine.stored_well.iter().filter(|(day, _)| kept(*day));
    let start_checks: Vec<CheckFound> = stored
        .map(|(day, well)| CheckFound {
            check: "storage_jobs".to_owned(),
            at: at(*day, 9),
            verdict: verdict(*well),
            value: None,
        })
        .collect();
    UnitFacts {
        id: Uuid::from_u128(1000 + number),
        tag: format!("T-{number:03}"),
        model: MODELS[machine.model],
        rigging: Work::Clear,
        away: None,
        acquired_on: (!machine.imported).then(|| date(machine.since)),
        kept_since: Some(at(machine.since, 7)),
        holds: Vec::new(),
        findings: Vec::new(),
        limited_uses: Vec::new(),
        inspections: machine
            .rounds
            .iter()
            .zip(1..)
            .map(|((day, round), id)| InspectionFacts {
                id: Uuid::from_u128(id),
                kind: match round {
                    Round::PreSeason => InspectionKind::PreSeason,
                    Round::MidSeason => InspectionKind::InSeason,
                    Round::Storage => InspectionKind::Storage,
                },
                at: at(*day, 9),
                by: BY.to_owned(),
            })
            .collect(),
        latest: latest(machine, start_checks.last(), starts.last()),
        starts,
        start_checks,
        meter: machine.meter[before.saturating_sub(1)..]
            .iter()
            .map(|(day, hours)| MeterFacts {
                at: at(
                    *day,
                    if machine.rounds.iter().any(|round| round.0 == *day) {
                        9
                    } else {
                        19
                    },
                ),
                hours: *hours,
                estimated: false,
                meter_replaced: false,
            })
            .collect(),
        parts: (0..population.parts.len())
            .flat_map(|place| paths(number, place, population, machine))
            .collect(),
        tasks_done: Vec::new(),
        deferrals: Vec::new(),
    }
}

fn verdict(good: bool) -> Verdict {
    if good {
        Verdict::Serviceable
    } else {
        Verdict::Unserviceable
    }
}

fn latest(
    machine: &Machine,
    stored: Option<&CheckFound>,
    start: Option<&StartFacts>,
) -> Vec<LatestReading> {
    let reading = |check: &str, at: Timestamp, verdict: Verdict| LatestReading {
        check: check.to_owned(),
        at,
        by: BY.to_owned(),
        verdict,
        value: None,
        grade: None,
        works: None,
        temperature_c: None,
        full_charge: None,
    };
    let mut latest = Vec::new();
    if let Some(stored) = stored {
        latest.push(reading("storage_jobs", stored.at, stored.verdict));
    }
    if let Some(start) = start {
        latest.push(LatestReading {
            works: Some(start.started),
            ..reading("engine_start", start.at, verdict(start.started))
        });
    }
    if let Some(counted) = machine.counted.filter(|day| *day >= machine.since) {
        let fasteners = reading("shear_fasteners", at(counted, 9), Verdict::Serviceable);
        latest.push(LatestReading {
            works: Some(true),
            ..fasteners
        });
        let spares = reading("shear_spares", at(counted, 9), Verdict::Serviceable);
        latest.push(LatestReading {
            value: Some(f64::from(machine.spares)),
            ..spares
        });
    }
    latest
}

/// The paths of a part, as far as they reach into what is on record.
fn paths<'a>(
    number: u128,
    place: usize,
    population: &'a Population,
    machine: &'a Machine,
) -> impl Iterator<Item = FittedPartFacts> + 'a {
    let figures = &population.parts[place];
    let check = figures.wear.as_ref().map(|wear| wear.check.as_str());
    let on_record = machine.parts[place].iter().enumerate().filter(|(_, part)| {
        part.removed
            .is_none_or(|removed| removed.day >= machine.since)
    });
    on_record.map(move |(index, part)| {
        let known = machine.is_known(part);
        let first = index == 0 || !known;
        FittedPartFacts {
            id: Uuid::from_u128(number * 1_000_000 + place as u128 * 1000 + index as u128),
            part: figures.part.clone(),
            how: if first {
                Fitting::AsDelivered
            } else {
                Fitting::Renewed
            },
            fitted_at: known.then(|| fitted_at(machine, place, index, part)),
            fitted_hours: known.then_some(part.hours),
            removed_at: part.removed.map(|removed| at(removed.day, removed.hour)),
            removed_hours: part.removed.map(|removed| removed.hours),
            failed: part.removed.map(|removed| removed.failed),
            sound_at: part.removed.and(part.inspected).map(|day| at(day, 9)),
            readings: check.map_or_else(Vec::new, |check| {
                let kept = part.readings.iter().filter(|one| one.day >= machine.since);
                kept.map(|one| reading(check, one)).collect()
            }),
        }
    })
}

fn fitted_at(machine: &Machine, place: usize, index: usize, part: &Fitted) -> Timestamp {
    let before = index
        .checked_sub(1)
        .and_then(|before| machine.parts[place][before].removed);
    before.map_or_else(|| at(part.day, 12), |removed| at(removed.day, removed.hour))
}

fn reading(check: &str, reading: &Reading) -> PathReading {
    PathReading {
        check: check.to_owned(),
        at: at(reading.day, 9),
        hours: Some(reading.hours),
        value: reading.value,
        repeats: reading.repeats,
    }
}
