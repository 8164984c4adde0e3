//! The work at present: how far it has come on what was found in the last days, what people have asked for by hand, and
//! what was put off.

use jiff::civil::Date;
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan};
use rimeyard_rules::order::State;
use rimeyard_store::deferral::{self, NewDeferral};
use rimeyard_store::work_order::{
    self, Downtime, Filter, NewOrderLine, NewWorkOrder, OrderLineChange, WorkOrderChange,
};
use rimeyard_store::{Result, feed};
use uuid::Uuid;

use super::Loading;
use crate::demo::cases::{self, Case};
use crate::demo::plan::{Depot, Machine};

impl<P: Fn(&str)> Loading<'_, P> {
    /// Where the work stands that was found in the last days, and what people have asked for by hand.
    pub(super) async fn work_at_present(&self, depot: &Depot, depot_id: Uuid) -> Result<()> {
        let number = self
            .agency
            .depots
            .iter()
            .position(|one| one.depot.id == Some(depot_id))
            .map_or(0, |index| index + 1);
        for (machine, at) in depot.machines.iter().zip(1..) {
            let Some(case) = cases::case(number, at) else {
                continue;
            };
            let zone = TimeZone::get(&depot.depot.zone).unwrap_or(TimeZone::UTC);
            let today = zone.to_datetime(self.agency.now).date();
            let technician = self.person(machine.technician);
            let of_machine = Filter {
                unit_id: Some(machine.id),
                open: Some(true),
                ..Filter::default()
            };
            let operator = self.person(machine.operator);
            let (by, new) = match case {
                Case::WouldNotStart => (&operator, Some(would_not_start(machine))),
                Case::BeltLow => (&technician, Some(renew_belt(machine))),
                Case::PastItsTime => (&technician, Some(rebuild_engine(machine))),
                _ => (&technician, None),
            };
            if let Some(new) = new {
                feed::write(self.database, by, &[depot_id], async |tx| {
                    work_order::create(tx, &new).await
                })
                .await?;
            }
            if case == Case::Deferred {
                let lead = self.lead(depot);
                let new = NewDeferral {
                    id: None,
                    task: cases::DEFERRED_TASK.to_owned(),
                    until: deferred_until(&zone),
                    reason: "Winter oil is on order; done with the next visit.".to_owned(),
                };
                feed::write(self.database, &lead, &[depot_id], async |tx| {
                    deferral::put_off(tx, machine.id, &new).await
                })
                .await?;
            }
            let steps = steps(case, number, technician.person_id, today);
            feed::write(self.database, &technician, &[depot_id], async |tx| {
                let Some(mut order) = work_order::list(tx, of_machine, None, 200).await?.pop()
                else {
                    return Ok(());
                };
                for mut change in steps {
                    if change.state == Some(State::WaitsForParts) || change.downtime.is_some() {
                        change.downtime = Some(vec![Downtime {
                            from: order.opened_at,
                            to: None,
                            reason: why_down(&change).to_owned(),
                        }]);
                    }
                    if change.state == Some(State::ToBeProved) {
                        change.lines = Some(order.lines.iter().map(worked).collect());
                    }
                    order = work_order::update(tx, order.id, order.rev, &change).await?;
                }
                Ok(())
            })
            .await?;
        }
        Ok(())
    }
}

/// Three weeks from today: nobody puts a task off to a day that is past, whatever day the demo stands at.
fn deferred_until(zone: &TimeZone) -> Date {
    let today = zone.to_datetime(Timestamp::now()).date();
    today.saturating_add(21.days())
}

/// What an operator tells of a machine that would not start.
fn would_not_start(machine: &Machine) -> NewWorkOrder {
    let failed = machine
        .meter
        .iter()
        .rev()
        .find(|reading| reading.started == Some(false));
    NewWorkOrder {
        symptom: Some("would not start: turns over, no cough".to_owned()),
        noticed_at: failed.map(|reading| reading.at),
        ..new_order(machine)
    }
}

/// What a technician plans for a belt that will see the season out.
fn renew_belt(machine: &Machine) -> NewWorkOrder {
    let line = NewOrderLine {
        part: Some("auger_belt".to_owned()),
        ..NewOrderLine::default()
    };
    NewWorkOrder {
        lines: vec![line],
        note: Some("After the season; it rides low and the take-up is used up.".to_owned()),
        ..new_order(machine)
    }
}

/// What a technician puts down for an engine that has lost its compression.
fn rebuild_engine(machine: &Machine) -> NewWorkOrder {
    let line = NewOrderLine {
        title: Some("Rebuild the engine: low compression, burns oil".to_owned()),
        minutes_planned: Some(1080.0),
        ..NewOrderLine::default()
    };
    NewWorkOrder {
        lines: vec![line],
        note: Some(
            "It sees the season out. Ask what a new one costs before parts are ordered.".to_owned(),
        ),
        ..new_order(machine)
    }
}

fn new_order(machine: &Machine) -> NewWorkOrder {
    NewWorkOrder {
        id: None,
        unit_id: machine.id,
        title: None,
        symptom: None,
        noticed_at: None,
        planned_for: None,
        assigned_to: None,
        lines: Vec::new(),
        needs: None,
        note: None,
    }
}

/// How far the work on such a machine has come.
fn steps(case: Case, depot: usize, person: Option<Uuid>, today: Date) -> Vec<WorkOrderChange> {
    let to = |state| WorkOrderChange {
        state: Some(state),
        assigned_to: Some(person),
        ..WorkOrderChange::default()
    };
    let planned = || WorkOrderChange {
        planned_for: Some(Some(today.saturating_add(1.day()))),
        ..to(State::Planned)
    };
    let down = |change: WorkOrderChange| WorkOrderChange {
        downtime: Some(Vec::new()),
        ..change
    };
    match (case, depot) {
        // Short on the shelf here: it waits, and needs no words for it.
        (Case::RingWornOut, 8) => vec![to(State::WaitsForParts)],
        (Case::RingWornOut | Case::BatteryFlat, _) => vec![down(to(State::OnTheBench))],
        (Case::AugerSeized, 2) => vec![to(State::OnTheBench), to(State::ToBeProved)],
        (Case::AugerSeized, 6) => vec![down(to(State::OnTheBench))],
        (Case::AugerSeized | Case::WornScraper | Case::WrongShearBolt, _) => vec![planned()],
        (Case::BeltLow | Case::PastItsTime, _) => vec![to(State::Planned)],
        (Case::DayOnly, _) => vec![WorkOrderChange {
            waits_for: Some(Some("the stator that feeds the lamp, ordered".to_owned())),
            ..to(State::WaitsForParts)
        }],
        (Case::DeadMeter, 9) => vec![WorkOrderChange {
            drop_reason: Some(
                "Goes out of use in spring; its operator keeps the hours.".to_owned(),
            ),
            ..to(State::Dropped)
        }],
        (Case::DeadMeter, _) => vec![planned()],
        _ => Vec::new(),
    }
}

fn why_down(change: &WorkOrderChange) -> &'static str {
    match change.state {
        Some(State::WaitsForParts) => "waits for parts",
        _ => "under repair",
    }
}

fn worked(line: &work_order::OrderLine) -> OrderLineChange {
    OrderLineChange {
        id: Some(line.id),
        minutes_worked: line.minutes_planned,
        done: Some(true),
        ..OrderLineChange::default()
    }
}
