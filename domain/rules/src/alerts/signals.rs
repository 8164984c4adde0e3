//! What is wrong at a depot, as its evaluation shows it.

use uuid::Uuid;

use super::{AlertKind, Severity, Signal};
use crate::because::{day, day_of, number};
use crate::depot::DepotDocument;
use crate::due::State;
use crate::facts::{OrderFacts, UnitFacts, WantedPart};
use crate::season::days_between;
use crate::unit::parts::Advice;
use crate::unit::standing::Status;
use crate::unit::{Shared, UnitState, open};

/// Hysteresis of a depot's score, points.
const SCORE_POINTS: f64 = 5.0;
/// Hysteresis of a part's chance.
const PART_CHANCE: f64 = 0.05;
/// A score under this is urgent.
const URGENT_UNDER: f64 = 50.0;
/// Days without any word of a unit in season (district default).
const SILENT_DAYS: i32 = 30;
/// An order stands still that is so many days past the day it was planned for (district default).
const LATE_DAYS: i32 = 7;
/// An order stands still that nobody planned in so many days (district default).
const UNPLANNED_DAYS: i32 = 30;
/// What is named of several; of more only the number is said.
const NAMED: usize = 3;

/// Every signal of a depot.
pub(crate) fn signals(
    shared: &Shared<'_>,
    depot: &DepotDocument,
    units: &[UnitState],
) -> Vec<Signal> {
    let facts = shared.facts;
    let of_units = facts.units.iter().zip(units).flat_map(|(unit, state)| {
        [
            tasks(state, true),
            tasks(state, false),
            held(state),
            parts(shared, state),
            battery(shared, unit),
            silent(shared, unit),
        ]
    });
    of_units
        .flatten()
        .chain(short(shared, depot))
        .chain(facts.orders.iter().filter_map(|order| stuck(shared, order)))
        .chain(facts.wanted.iter().filter_map(spares))
        .map(Signal::shortened)
        .collect()
}

fn of_unit(kind: AlertKind, unit_id: Uuid, severity: Severity, text: String) -> Signal {
    Signal {
        kind,
        subject_id: unit_id,
        unit_id: Some(unit_id),
        raised: Some((severity, text)),
    }
}

/// Those for safety by themselves: whoever has taken up the greasing has not taken up the guards.
fn tasks(state: &UnitState, safety: bool) -> Option<Signal> {
    let tasks = state.document.tasks.iter();
    let overdue: Vec<_> = tasks
        .filter(|task| task.safety == safety && task.state >= State::Overdue)
        .collect();
    let severity = overdue.iter().map(|task| match task.state {
        _ if safety => Severity::Urgent,
        State::LongOverdue => Severity::Warning,
        _ => Severity::Notice,
    });
    let severity = severity.max()?;
    let titles: Vec<&str> = overdue.iter().map(|task| task.title.as_str()).collect();
    let (kind, what) = if safety {
        (AlertKind::SafetyTaskOverdue, "overdue, for safety")
    } else {
        (AlertKind::TaskOverdue, "overdue")
    };
    let text = format!("{}: {what}: {}", state.document.tag, listed(&titles));
    Some(of_unit(kind, state.unit_id, severity, text))
}

fn held(state: &UnitState) -> Option<Signal> {
    (state.document.status == Status::Held).then(|| {
        let text = format!("{}: {}", state.document.tag, state.document.summary);
        of_unit(AlertKind::UnitHeld, state.unit_id, Severity::Warning, text)
    })
}

fn parts(shared: &Shared<'_>, state: &UnitState) -> Option<Signal> {
    let floor = shared.facts.settings.season_under;
    let parts = state.document.parts.iter();
    // Of what nobody measured nothing is known; that is the inspection's matter.
    let known = parts.filter(|part| part.advice != Advice::Measure);
    let short: Vec<_> = known
        .filter(|part| part.lasts.this_season < floor + PART_CHANCE)
        .collect();
    let raised: Vec<_> = short
        .iter()
        .filter(|part| part.lasts.this_season < floor)
        .collect();
    let severity = raised.iter().map(|part| match part.advice {
        Advice::RenewNow => Severity::Warning,
        _ => Severity::Notice,
    });
    let titles: Vec<&str> = raised.iter().map(|part| part.title.as_str()).collect();
    let text = || {
        let titles = listed(&titles);
        format!(
            "{}: will not see this season out: {titles}",
            state.document.tag
        )
    };
    (!short.is_empty()).then(|| Signal {
        kind: AlertKind::PartWillNotLast,
        subject_id: state.unit_id,
        unit_id: Some(state.unit_id),
        raised: severity.max().map(|severity| (severity, text())),
    })
}

fn battery(shared: &Shared<'_>, unit: &UnitFacts) -> Option<Signal> {
    let text = open::frozen(unit, shared)?;
    let text = format!("{}: {text}", unit.tag);
    Some(of_unit(
        AlertKind::BatteryWillFreeze,
        unit.id,
        Severity::Urgent,
        text,
    ))
}

fn silent(shared: &Shared<'_>, unit: &UnitFacts) -> Option<Signal> {
    if unit.away.is_some() || !shared.snow_days.this_season.runs_on(shared.today) {
        return None;
    }
    let inspections = unit.inspections.iter().map(|one| one.at);
    let starts = unit.starts.iter().map(|one| one.at);
    let meter = unit.meter.iter().map(|one| one.at);
    let done = unit.tasks_done.iter().map(|done| done.at);
    let holds = unit.holds.iter().map(|hold| hold.placed_at);
    let orders = shared.facts.orders.iter();
    let orders = orders.filter(|order| order.unit_id == unit.id);
    let heard = inspections
        .chain(starts)
        .chain(meter)
        .chain(done)
        .chain(holds)
        .chain(orders.map(|order| order.opened_at))
        .chain(unit.kept_since);
    let heard = heard.filter(|at| *at <= shared.as_of).max()?;
    let zone = &shared.facts.zone;
    // In summer nobody expects word of it.
    let from = zone
        .to_datetime(heard)
        .date()
        .max(shared.snow_days.this_season.starts);
    let days = days_between(from, shared.today);
    (days > SILENT_DAYS).then(|| {
        let text = format!(
            "{}: nothing heard of it since {}",
            unit.tag,
            day_of(heard, zone)
        );
        of_unit(AlertKind::UnitNotHeardOf, unit.id, Severity::Notice, text)
    })
}

fn stuck(shared: &Shared<'_>, order: &OrderFacts) -> Option<Signal> {
    let opened_on = shared.facts.zone.to_datetime(order.opened_at).date();
    let (severity, why) = match order.planned_for {
        Some(planned) if days_between(planned, shared.today) > LATE_DAYS => (
            Severity::Warning,
            format!("was planned for {} and is still open", day(planned)),
        ),
        None if days_between(opened_on, shared.today) > UNPLANNED_DAYS => (
            Severity::Notice,
            format!(
                "is open since {} and not planned for any day",
                day(opened_on)
            ),
        ),
        _ => return None,
    };
    Some(Signal {
        kind: AlertKind::OrderStuck,
        subject_id: order.id,
        unit_id: Some(order.unit_id),
        raised: Some((severity, format!("{}: {}: {why}", order.tag, order.title))),
    })
}

fn spares(part: &WantedPart) -> Option<Signal> {
    (part.on_hand < part.wanted).then(|| Signal {
        kind: AlertKind::SparesShort,
        subject_id: part.part_id,
        unit_id: None,
        raised: Some((
            Severity::Warning,
            format!(
                "{}: open orders want {}, on the shelf {}",
                part.title,
                part.wanted,
                part.on_hand.max(0)
            ),
        )),
    })
}

/// Only for a storm that has a name: the design storm is always there.
fn short(shared: &Shared<'_>, depot: &DepotDocument) -> Option<Signal> {
    depot.storm.id?;
    let (score, floor) = (depot.score?, shared.facts.settings.score_floor);
    let raised = (score < floor).then(|| {
        let severity = if score < URGENT_UNDER {
            Severity::Urgent
        } else {
            Severity::Warning
        };
        let text = format!(
            "{}: {} in 100 to keep up with {}, under its floor of {}",
            depot.name,
            number(score, 0),
            depot.storm.name,
            number(floor, 0)
        );
        (severity, text)
    });
    (score < floor + SCORE_POINTS).then_some(Signal {
        kind: AlertKind::DepotShort,
        subject_id: depot.depot_id,
        unit_id: None,
        raised,
    })
}

fn listed(titles: &[&str]) -> String {
    let (said, more) = titles.split_at(titles.len().min(NAMED));
    let said = said.join("; ");
    match more.len() {
        0 => said,
        count => format!("{said}; and {count} more"),
    }
}
