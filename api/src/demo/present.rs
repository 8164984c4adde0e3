//! The last days before now: proof starts before the storm, and what is out of the ordinary with some machines.

use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::measure::Unit;
use rimeyard_rules::sheet::{CheckSpec, TaskSpec};
use rimeyard_rules::verdict::{ReadingInput, Verdict};

use super::cases::Case;
use super::gauge::{chosen, number, stepped, works};
use super::machine::Machine;
use super::noting::Beyond;
use super::plan::{Inspection, LimitedUse, MeterReading, Storm};
use super::rounds::checks;

const DAY: SignedDuration = SignedDuration::from_hours(24);

/// Share of the machines in order that were started once more before the storm.
const PROVEN_BEFORE_THE_STORM: f64 = 0.9;

/// A test of hidden safety functions holds three months; nobody lets it come so far.
const SAFETY_TESTED_DAYS: i32 = 75;

/// Writes a machine's last days.
pub fn present(machine: &mut Machine<'_>, case: Option<Case>, storm: &Storm) {
    match case {
        None | Some(Case::DeadMeter | Case::Deferred | Case::PastItsTime | Case::Away(_)) => {
            test_safety(machine);
            if machine.draw.chance(PROVEN_BEFORE_THE_STORM) {
                proof_start(machine);
            }
        }
        Some(Case::SafetyOverdue) => proof_start(machine),
        Some(Case::NotInspected) => {}
        Some(Case::Stood240Days) => stood(machine, storm.starts_at - DAY * 240),
        Some(Case::MeterBackwards) => {
            look(machine, &[]);
            backwards(machine);
        }
        Some(Case::WouldNotStart) => {
            test_safety(machine);
            let at = lately(machine, 36);
            machine.report(at, Some(false));
        }
        Some(Case::DayOnly) => {
            look(machine, &[works("lamp", false)]);
            day_only(machine, storm);
        }
        Some(case) => {
            let found = found(machine, case);
            look(machine, &found);
        }
    }
}

/// What is found on such a machine.
fn found(machine: &mut Machine<'_>, case: Case) -> Vec<ReadingInput> {
    let now = machine.calendar.now;
    match case {
        Case::BeltLow => {
            let ride = machine
                .true_value("auger_belt_ride", now)
                .map_or(-1.75, |(_, ride)| ride);
            let often = |mut reading: ReadingInput| {
                reading.repeats = Some(4);
                reading
            };
            // Not so near the limit at -1.5 mm that four readings would leave it open.
            vec![
                often(number(
                    "auger_belt_ride",
                    stepped(ride.clamp(-2.5, -1.7), 0.05),
                    Unit::Millimetre,
                )),
                often(number("auger_take_up", 5.0, Unit::Percent)),
            ]
        }
        Case::WrongShearBolt => vec![worst(machine, "shear_fasteners", "substitute")],
        Case::WornScraper => vec![number("scraper_edge", 3.5, Unit::Millimetre)],
        Case::RingWornOut => vec![number("friction_ring", 0.4, Unit::Millimetre)],
        Case::NoSpares => vec![number("shear_spares", 0.0, Unit::Count)],
        Case::AugerSeized => vec![works("auger_free", false)],
        Case::NoCleanOutTool => vec![works("clean_out_tool", false)],
        Case::BatteryFlat => {
            // Read in the shop: corrected, its acid freezes a few degrees above the storm's low.
            let mut gravity = number("battery_charge", 1.175, Unit::SpecificGravity);
            gravity.temperature_c = Some(14.0);
            gravity.full_charge = Some(1.265);
            vec![gravity]
        }
        _ => Vec::new(),
    }
}

/// The check's answer that has this word in it, else its worst.
fn worst(machine: &mut Machine<'_>, code: &str, word: &str) -> ReadingInput {
    let Some(check) = machine.sheet.check_spec(code) else {
        return works(code, false);
    };
    let named = check
        .grades()
        .unwrap_or_default()
        .iter()
        .find(|grade| grade.grade.contains(word));
    let mut reading = chosen(&mut machine.draw, check, Verdict::Unserviceable);
    if let Some(named) = named {
        reading.grade = Some(named.grade.clone());
    }
    reading
}

/// A technician looks at the machine once more in the last days, and finds this.
fn look(machine: &mut Machine<'_>, found: &[ReadingInput]) {
    let at = lately(machine, 24 * 4);
    let kept: Vec<&str> = found
        .iter()
        .filter_map(|found| part_of(machine, &found.check))
        .collect();
    machine.put_right(at, &kept);
    let kind = kind_of_look(machine, at);
    let mut round = checks(machine, InspectionKind::InSeason, false);
    let missing = |found: &&ReadingInput| !round.iter().any(|check| check.check == found.check);
    let more: Vec<CheckSpec> = found
        .iter()
        .filter(missing)
        .filter_map(|found| machine.sheet.check_spec(&found.check))
        .cloned()
        .collect();
    round.extend(more);
    // It starts: what is wrong is what was found, and nothing else.
    let mut found = found.to_vec();
    found.push(works(&machine.sheet.start.check, true));
    machine.inspect(kind, at, &round, &found, Beyond::Nothing);
}

/// Hidden safety functions are tested every three months: where the last test is about to be too old, once more.
fn test_safety(machine: &mut Machine<'_>) {
    let now = machine.calendar.now;
    let recent =
        |inspection: &&Inspection| now.duration_since(inspection.at) < DAY * SAFETY_TESTED_DAYS;
    let answers = |inspection: &Inspection, check: &String| {
        inspection
            .readings
            .iter()
            .any(|reading| reading.check == *check)
    };
    let done = |task: &TaskSpec| {
        let mut recent = machine.written.inspections.iter().filter(recent);
        recent.any(|one| task.checks.iter().all(|check| answers(one, check)))
    };
    let fresh = machine
        .sheet
        .tasks
        .iter()
        .filter(|task| task.safety)
        .all(done);
    let round = checks(machine, InspectionKind::AfterRepair, false);
    if fresh {
        return;
    }
    let at = lately(machine, 24 * 30);
    let kind = kind_of_look(machine, at);
    let starts = works(&machine.sheet.start.check, true);
    machine.inspect(kind, at, &round, &[starts], Beyond::Nothing);
}

/// What an inspection on that day is: in the season, or before it.
fn kind_of_look(machine: &Machine<'_>, at: Timestamp) -> InspectionKind {
    let (season_starts, _) = machine.calendar.season(machine.calendar.winter());
    if machine.calendar.date_of(at) >= season_starts {
        InspectionKind::InSeason
    } else {
        InspectionKind::PreSeason
    }
}

fn part_of<'a>(machine: &Machine<'a>, check: &str) -> Option<&'a str> {
    machine.sheet.check_spec(check)?.part.as_deref()
}

/// A time in the last hours, after everything else that is written.
fn lately(machine: &mut Machine<'_>, hours: i64) -> Timestamp {
    let now = machine.calendar.now;
    let heard = machine
        .last_heard()
        .unwrap_or(Timestamp::UNIX_EPOCH)
        .min(now);
    let from = (now - SignedDuration::from_hours(hours)).max(heard);
    let to = (now - SignedDuration::from_hours(6)).max(from);
    machine.calendar.at_work(&mut machine.draw, from, to)
}

fn proof_start(machine: &mut Machine<'_>) {
    let at = lately(machine, 24 * 12);
    let started = machine.try_start(at);
    machine.report(at, Some(started));
    if !started {
        // A technician got it going the same day.
        let again = (at + SignedDuration::from_hours(3)).min(machine.calendar.now);
        machine.report(again, Some(true));
    }
}

/// Put away dry and in order, started a last time, and not touched since.
fn stood(machine: &mut Machine<'_>, last: Timestamp) {
    machine.report(last, Some(true));
}

/// A meter that was changed without a word, or misread: it says less than it did.
fn backwards(machine: &mut Machine<'_>) {
    let at = lately(machine, 24 * 2);
    let hours = (machine.hours_at(at) - 41.3).max(2.4);
    let id = machine.draw.id(at);
    machine.written.meter.push(MeterReading {
        id,
        at,
        run_hours: Some((hours * 10.0).round() / 10.0),
        estimated: false,
        started: None,
    });
}

fn day_only(machine: &mut Machine<'_>, storm: &Storm) {
    let starts_at = machine.last_heard().unwrap_or(machine.calendar.now);
    machine.written.limited_use = Some(LimitedUse {
        id: machine.draw.id(starts_at),
        reason: "day only: lamp dark",
        starts_at,
        ends_at: storm.ends_at + DAY * 5,
    });
}
