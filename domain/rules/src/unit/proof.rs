//! What proves a unit, and the chance that it starts after standing (sections 6 and 7).

use jiff::{Timestamp, civil::Date};
use serde::{Deserialize, Serialize};

use super::clock::UnitClock;
use super::going_dead::GoingDead;
use super::model::Model;
use super::standing::{Factor, Figure};
use super::{Shared, latest};
use crate::because::{day, day_of, odds};
use crate::calculations;
use crate::facts::{InspectionKind, UnitFacts};
use crate::season::{Winter, date_of, day_number};
use crate::start::StartRate;
use crate::timeline::day_in;

/// What proves a unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = UnitProof))]
pub struct Proof {
    /// Its last good start.
    pub started_at: Option<Timestamp>,
    /// Its last inspection, storage ones apart.
    pub inspected_at: Option<Timestamp>,
    /// Who started it; else who inspected it.
    pub by: Option<String>,
    /// When standing alone makes it fall out of ready, or its inspection and start no longer count; none where nothing
    /// is proven.
    pub runs_out_at: Option<Timestamp>,
}

/// What a machine still owes before it is proven.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Owed {
    /// A look at every safety and stop check this season.
    Inspection,
    /// A start since it was stored.
    Start,
    /// A look since somebody reported a fault.
    LookAfterFault,
}

/// What has not been shown since 1 July, since it was stored, or since somebody reported a fault.
pub fn unproven(unit: &UnitFacts, clock: &UnitClock<'_>, shared: &Shared<'_>) -> Vec<String> {
    let owed = owed(unit, clock, shared).into_iter();
    owed.map(|(_, text)| text).collect()
}

/// The same, with what would show it.
pub(crate) fn owed(
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    shared: &Shared<'_>,
) -> Vec<(Owed, String)> {
    let zone = &shared.facts.zone;
    let began = Winter::of(shared.today).starts();
    let first_day = day_number(began);
    let mut missing = Vec::new();
    let inspected = last_inspection(unit, shared.as_of);
    if inspected.is_none_or(|(at, _)| day_in(at, zone) < first_day) {
        let text = match inspected {
            Some((at, _)) => format!("not inspected this season: last on {}", day_of(at, zone)),
            None => "not inspected this season, nor on record before".to_owned(),
        };
        missing.push((Owed::Inspection, text));
    } else {
        let open = not_answered(unit, shared, began);
        missing.extend(open.map(|text| (Owed::Inspection, text)));
    }
    let inspections = unit.inspections.iter();
    let stored = inspections
        .filter(|inspection| {
            inspection.kind == InspectionKind::Storage && inspection.at <= shared.as_of
        })
        .map(|inspection| inspection.at)
        .max()
        .filter(|at| day_in(*at, zone) >= first_day);
    let proven = clock
        .last_run()
        .is_some_and(|(at, day)| day >= first_day && stored.is_none_or(|stored| at > stored));
    if !proven {
        let last = match clock.last_run() {
            Some((at, _)) => format!("last started {}", day_of(at, zone)),
            None => "no start on record".to_owned(),
        };
        let text = match stored {
            Some(at) => format!(
                "no proof start since it was stored on {}: {last}",
                day_of(at, zone)
            ),
            None => format!("no proof start since {}: {last}", day(began)),
        };
        missing.push((Owed::Start, text));
    }
    // What would not start is known to be dead: its chance says so, and more than that it is unproven.
    if clock.found_dead().is_none() {
        let faults = faults(unit, shared).into_iter();
        missing.extend(faults.map(|text| (Owed::LookAfterFault, text)));
    }
    missing
}

/// Faults of open orders that nobody has looked into since: what was proven before is not proven any more. A look at one
/// thing is not enough: an inspection after the repair is, or every safety and stop check answered.
fn faults(unit: &UnitFacts, shared: &Shared<'_>) -> Vec<String> {
    let orders = shared.facts.orders.iter();
    let reported = orders.filter(|order| order.unit_id == unit.id);
    let reported = reported.filter_map(|order| order.fault.as_ref());
    let repaired = unit
        .inspections
        .iter()
        .filter(|one| one.kind == InspectionKind::AfterRepair && one.at <= shared.as_of);
    let repaired = repaired.map(|one| one.at).max();
    let since = reported.filter(|fault| {
        let answered_since = |check: &str| {
            latest(unit, check)
                .is_some_and(|reading| reading.at <= shared.as_of && reading.at > fault.at)
        };
        fault.at <= shared.as_of
            && repaired.is_none_or(|repaired| repaired <= fault.at)
            && !unanswered(unit, shared, answered_since).is_empty()
    });
    let said = since.map(|fault| {
        format!(
            "reported on {}: {}; not inspected since",
            day_of(fault.at, &shared.facts.zone),
            fault.symptom
        )
    });
    said.collect()
}

/// Which safety and stop checks of the sheet nobody has answered since 1 July: a look at one thing is no inspection. The
/// proof start is asked for by itself.
fn not_answered(unit: &UnitFacts, shared: &Shared<'_>, began: Date) -> Option<String> {
    let first_day = day_number(began);
    let answered = |check: &str| {
        latest(unit, check).is_some_and(|reading| {
            reading.at <= shared.as_of && day_in(reading.at, &shared.facts.zone) >= first_day
        })
    };
    let open = unanswered(unit, shared, answered);
    let (said, more) = open.split_at(open.len().min(NAMED));
    let more = match more.len() {
        0 => String::new(),
        count => format!("; and {count} more"),
    };
    (!open.is_empty()).then(|| {
        format!(
            "not inspected in full this season; not answered since {}: {}{more}",
            day(began),
            said.join("; ")
        )
    })
}

/// The titles of the safety and stop checks that concern the unit and are not `answered`, the proof start apart.
fn unanswered<'s>(
    unit: &UnitFacts,
    shared: &Shared<'s>,
    answered: impl Fn(&str) -> bool,
) -> Vec<&'s str> {
    let Some(sheet) = shared.facts.sheets.get(&unit.model) else {
        return Vec::new();
    };
    let checks = sheet.checks.iter();
    checks
        .filter(|check| check.effect.takes_out() && check.check != sheet.start.check)
        .filter(|check| sheet.check_concerns(&check.check, unit.rigging))
        .filter(|check| !answered(&check.check))
        .map(|check| check.title.as_str())
        .collect()
}

/// Unanswered checks that are named; of more only the number is said.
const NAMED: usize = 3;

fn last_inspection(unit: &UnitFacts, as_of: Timestamp) -> Option<(Timestamp, &str)> {
    unit.inspections
        .iter()
        .filter(|inspection| inspection.kind != InspectionKind::Storage && inspection.at <= as_of)
        .max_by_key(|inspection| (inspection.at, inspection.id))
        .map(|inspection| (inspection.at, inspection.by.as_str()))
}

/// How a unit starts for the storm after standing.
pub struct Start<'u> {
    /// Its last good start and that day.
    run: Option<(Timestamp, i32)>,
    /// By whom.
    by: Option<&'u str>,
    /// The last attempt, if it failed: it is dead until it starts again.
    dead_at: Option<Timestamp>,
    /// Days from the last run to the storm.
    days: f64,
    /// The sheet's factors by then, of what its checks were found to be.
    factor: f64,
    going_dead: &'u GoingDead<'u>,
}

impl<'u> Start<'u> {
    /// From the unit's starts and the verdicts that make it go dead sooner.
    pub fn of(
        shared: &Shared<'_>,
        unit: &'u UnitFacts,
        clock: &'u UnitClock<'_>,
        model: &Model<'_>,
    ) -> Self {
        let run = clock.last_run();
        // Never started: from 1 July of last year.
        let from = run.map_or_else(
            || day_number(Winter::of(shared.today).before().starts()),
            |run| run.1,
        );
        let storm_day = shared.storm.first_day;
        let factor = clock.going_dead.factor(shared.as_of, storm_day);
        let by = run.and_then(|(at, _)| {
            let start = unit
                .starts
                .iter()
                .find(|start| start.at == at && start.started)
                .map(|start| start.by.as_str());
            start.or_else(|| {
                latest(unit, &model.sheet.start.check).map(|reading| reading.by.as_str())
            })
        });
        Start {
            run,
            by,
            dead_at: clock.found_dead(),
            days: f64::from((storm_day - from).max(0)),
            factor,
            going_dead: &clock.going_dead,
        }
    }

    /// The chance where the rate of going dead is known.
    pub fn chance_at(&self, model: &Model<'_>, dead_rate: f64) -> f64 {
        if self.dead_at.is_some() {
            0.0
        } else {
            model
                .start
                .chance_at_rate(dead_rate, self.days, self.factor)
        }
    }

    /// Its factor in the unit's chance.
    pub fn factor(&self, shared: &Shared<'_>, model: &Model<'_>) -> Factor {
        let zone = &shared.facts.zone;
        let StartRate {
            alpha,
            beta,
            shape,
            at_once,
        } = model.start;
        if let Some(at) = self.dead_at {
            let text = format!("did not start on {}", day_of(at, zone));
            return Factor {
                factor: "start".to_owned(),
                chance: 0.0,
                text,
                figure: None,
            };
        }
        let chance = model.start.chance(self.days, self.factor);
        let last = match self.run {
            Some((at, _)) => format!(
                "last started {} by {}",
                day_of(at, zone),
                self.by.unwrap_or("somebody")
            ),
            None => "no start on record".to_owned(),
        };
        let sooner = if self.factor > 1.0 {
            "; its fuel, battery or storage make it go dead sooner"
        } else {
            ""
        };
        Factor {
            factor: "start".to_owned(),
            chance,
            text: format!("{last}: {} to start for this storm{sooner}", odds(chance)),
            figure: Some(Figure::Starts(calculations::starts::Input {
                alpha,
                beta,
                days: self.days,
                shape,
                at_once,
                factor: self.factor,
            })),
        }
    }

    /// What proves the unit; `rest` is its chance apart from starting.
    pub fn proof(
        &self,
        shared: &Shared<'_>,
        unit: &UnitFacts,
        model: &Model<'_>,
        is_proven: bool,
        rest: f64,
    ) -> Proof {
        let inspected = last_inspection(unit, shared.as_of);
        Proof {
            started_at: self.run.map(|run| run.0),
            inspected_at: inspected.map(|(at, _)| at),
            by: self.by.or(inspected.map(|(_, by)| by)).map(str::to_owned),
            runs_out_at: self
                .run
                .filter(|_| is_proven)
                .and_then(|run| self.runs_out_at(shared, model, run.1, rest)),
        }
    }

    /// The day on which standing alone takes the chance under the floor of ready, at the latest the next 1 July. The
    /// chance of all else enters rounded down to 0.01, so that the day does not move with every hour run.
    fn runs_out_at(
        &self,
        shared: &Shared<'_>,
        model: &Model<'_>,
        run: i32,
        rest: f64,
    ) -> Option<Timestamp> {
        let midnight = |day: Date| {
            shared
                .facts
                .zone
                .to_timestamp(day.to_datetime(jiff::civil::Time::midnight()))
                .ok()
        };
        let winter_ends = Winter::of(shared.today).next().starts();
        let rest = (rest * 100.0 + 1e-9).floor() / 100.0;
        let floor = shared.facts.settings.doubtful_under;
        // The factors only grow with time, so the chance only falls.
        let ready_on = |day: i32| {
            let factor = self.going_dead.factor(shared.as_of, day);
            rest * model.start.chance(f64::from(day - run), factor) >= floor
        };
        if self.dead_at.is_some() || !ready_on(run) {
            // Other things keep it from ready: standing changes nothing.
            return midnight(winter_ends);
        }
        let (mut ready, mut over) = (run, day_number(winter_ends).max(run + 1));
        while over - ready > 1 {
            let middle = ready + (over - ready) / 2;
            if ready_on(middle) {
                ready = middle;
            } else {
                over = middle;
            }
        }
        midnight(date_of(over).min(winter_ends))
    }
}
