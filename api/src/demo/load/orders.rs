//! Inspections with the work that follows from them. What an inspection finds opens an order; the order is closed before
//! the machine is looked at again, as its people would have, with the parts it took from the shelf, the minutes and the
//! inspection that proves it.

use std::collections::BTreeSet;

use jiff::tz::TimeZone;
use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::facts::InspectionKind;
use rimeyard_rules::order::State;
use rimeyard_rules::sheet::Effect;
use rimeyard_rules::verdict::Verdict;
use rimeyard_store::inspection::{self, JudgedReading};
use rimeyard_store::work_order::{
    self, Downtime, Filter, NewUse, OrderLineChange, WorkOrder, WorkOrderChange,
};
use rimeyard_store::{Result, Tenant, feed};
use uuid::Uuid;

use super::Loading;
use super::facts::new_inspection;
use crate::demo::draw::Draw;
use crate::demo::plan::{Inspection, Machine};
use crate::demo::shelves::{id_of, lot};

/// Inspections a commit: a full one has some 8 kB, and a commit has at most 1 MiB.
const INSPECTIONS_A_COMMIT: usize = 80;
/// Why an order is dropped whose machine was found within its limits without a repair.
const NOTHING_TO_DO: &str = "Measured again: not past its limit. Watched.";
/// Longer than this nobody counts a machine as missed that was put away with its fault.
const DOWN_AT_MOST: SignedDuration = SignedDuration::from_hours(24 * 12);

/// The checks that inspections found serviceable.
type Good = BTreeSet<(Uuid, String)>;

impl<P: Fn(&str)> Loading<'_, P> {
    /// The inspections that a technician made, in waves: after one that may have found something, and after a repair,
    /// the machine's orders are seen to before it is looked at again.
    pub(super) async fn rounds(
        &self,
        person: &Tenant,
        depot_id: Uuid,
        machines: &[&Machine],
    ) -> Result<()> {
        let mut waves: Vec<Vec<(&Machine, &Inspection)>> = Vec::new();
        for machine in machines {
            let mut wave = 0;
            let mut before: Option<InspectionKind> = None;
            for inspection in &machine.inspections {
                let repair = |kind| kind == InspectionKind::AfterRepair;
                let apart = before.is_some_and(|before| {
                    repair(before) || repair(inspection.kind) || before == InspectionKind::Storage
                });
                wave += usize::from(apart);
                before = Some(inspection.kind);
                if waves.len() <= wave {
                    waves.resize_with(wave + 1, Vec::new);
                }
                waves[wave].push((machine, inspection));
            }
        }
        let mut good = Good::new();
        for wave in waves {
            let new = wave
                .iter()
                .map(|(machine, inspection)| new_inspection(machine.id, inspection))
                .collect::<Vec<_>>();
            for new in new.chunks(INSPECTIONS_A_COMMIT) {
                let recorded = feed::write(self.database, person, &[depot_id], async |tx| {
                    inspection::record_many(tx, new).await
                })
                .await?;
                for one in recorded {
                    let serviceable =
                        |one: &&JudgedReading| one.reading.verdict == Verdict::Serviceable;
                    let readings = one.inspection.readings.iter().filter(serviceable);
                    let id = one.inspection.id;
                    good.extend(readings.map(|judged| (id, judged.reading.check.clone())));
                }
                self.told_of(new.len());
            }
            let looked_at: BTreeSet<Uuid> = wave.iter().map(|(machine, _)| machine.id).collect();
            self.see_to_orders(person, depot_id, machines, &looked_at, &wave, &good)
                .await?;
        }
        Ok(())
    }

    /// Closes what has been put right; plans what has not, where the machine will be looked at again.
    async fn see_to_orders(
        &self,
        person: &Tenant,
        depot_id: Uuid,
        machines: &[&Machine],
        looked_at: &BTreeSet<Uuid>,
        wave: &[(&Machine, &Inspection)],
        good: &Good,
    ) -> Result<()> {
        let open = Filter {
            depot_id: Some(depot_id),
            open: Some(true),
            ..Filter::default()
        };
        feed::write(self.database, person, &[depot_id], async |tx| {
            for order in work_order::list(tx, open, None, 200).await? {
                let machine = machines
                    .iter()
                    .find(|machine| machine.id == order.unit_id && looked_at.contains(&machine.id));
                let Some(machine) = machine else { continue };
                if let Some(proof) = proof(machine, &order) {
                    let at = proof.at + SignedDuration::from_mins(12);
                    if !proves(proof, &order, good) {
                        let dropped = WorkOrderChange {
                            state: Some(State::Dropped),
                            drop_reason: Some(NOTHING_TO_DO.to_owned()),
                            ..WorkOrderChange::default()
                        };
                        work_order::update_as_of(tx, order.id, order.rev, &dropped, at).await?;
                        continue;
                    }
                    let [begun, closed] = self.done(person, machine, &order, proof);
                    let order =
                        work_order::update_as_of(tx, order.id, order.rev, &begun, proof.at).await?;
                    work_order::update_as_of(tx, order.id, order.rev, &closed, at).await?;
                } else if order.state == State::Found && comes_again(machine, wave) {
                    let planned = WorkOrderChange {
                        state: Some(State::Planned),
                        assigned_to: Some(person.person_id),
                        ..WorkOrderChange::default()
                    };
                    work_order::update(tx, order.id, order.rev, &planned).await?;
                }
            }
            Ok(())
        })
        .await
    }

    /// What a technician says of an order that is done: begun, and closed.
    fn done(
        &self,
        person: &Tenant,
        machine: &Machine,
        order: &WorkOrder,
        proof: &Inspection,
    ) -> [WorkOrderChange; 2] {
        let found = order.opened_at;
        let mut draw = Draw::new(self.agency.seed, &format!("{} {found}", machine.tag));
        let proved = proof.at;
        let done_at = (proved - SignedDuration::from_mins(25)).max(found);
        let answered = |check: &str| proof.readings.iter().any(|reading| reading.check == check);
        let lines = order.lines.iter().map(|line| {
            let here = line
                .finding
                .as_ref()
                .is_none_or(|finding| answered(&finding.check));
            let planned = line.minutes_planned.unwrap_or(20.0);
            let worked = (draw.lognormal(planned, 0.3) / 5.0).ceil() * 5.0;
            OrderLineChange {
                id: Some(line.id),
                minutes_worked: here.then_some(worked),
                done_at: here.then_some(done_at),
                taken_off: (!here).then(|| Some("put right on an earlier round".to_owned())),
                ..OrderLineChange::default()
            }
        });
        let lines = lines.collect();
        let uses = order.needs.iter().map(|need| NewUse {
            part_id: need.part_id,
            quantity: need.quantity,
            lot: self.ages(need.part_id).then(|| lot(winter_of(done_at))),
            happened_at: Some(done_at),
        });
        let uses = uses.collect::<Vec<_>>();
        let downtime = downtime(&mut draw, order, proved);
        let broken = self.broken(&mut draw, machine, done_at);
        let begun = WorkOrderChange {
            state: Some(State::OnTheBench),
            assigned_to: Some(person.person_id),
            downtime: Some(downtime),
            lines: Some(lines),
            uses: Some(uses.into_iter().chain(broken).collect()),
            ..WorkOrderChange::default()
        };
        let closed = WorkOrderChange {
            state: Some(State::Closed),
            proved_by: Some(Some(proof.id)),
            ..WorkOrderChange::default()
        };
        [begun, closed]
    }

    /// The shear fasteners that the machine broke since it was last on the bench: as many spares go aboard again.
    fn broken(&self, draw: &mut Draw, machine: &Machine, at: Timestamp) -> Option<NewUse> {
        let mut models = self.agency.models.iter();
        let model = models.find(|model| model.id == machine.model)?;
        let name = model.sheet.spares_job()?.parts.first()?;
        let quantity = *draw.pick(&[0, 1, 1, 2, 3]);
        (quantity > 0).then(|| NewUse {
            part_id: id_of(&self.agency.parts, name),
            quantity,
            lot: None,
            happened_at: Some(at),
        })
    }

    fn ages(&self, part_id: Uuid) -> bool {
        let part = self
            .agency
            .parts
            .iter()
            .find(|part| part.id == Some(part_id));
        part.is_some_and(|part| part.shelf_life_days.is_some())
    }
}

/// The inspection that found everything on an order right, if it is.
fn proof<'a>(machine: &'a Machine, order: &WorkOrder) -> Option<&'a Inspection> {
    let findings = order.lines.iter().map(|line| line.finding.as_ref());
    let closed: Option<Vec<Timestamp>> = findings.map(|finding| finding?.closed_at).collect();
    let last = closed?.into_iter().max()?;
    machine
        .inspections
        .iter()
        .find(|inspection| inspection.at == last)
}

/// Whether an inspection has everything serviceable that it answers of an order's findings.
fn proves(proof: &Inspection, order: &WorkOrder, good: &Good) -> bool {
    let answered = |check: &str| proof.readings.iter().any(|reading| reading.check == check);
    let findings = order.lines.iter().filter_map(|line| line.finding.as_ref());
    findings
        .filter(|finding| answered(&finding.check))
        .all(|finding| good.contains(&(proof.id, finding.check.clone())))
}

/// Whether the machine is inspected again after this wave.
fn comes_again(machine: &Machine, wave: &[(&Machine, &Inspection)]) -> bool {
    let last = wave.iter().rev().find(|(one, _)| one.id == machine.id);
    let last = last.map(|(_, inspection)| inspection.at);
    machine
        .inspections
        .iter()
        .any(|inspection| last.is_some_and(|last| inspection.at > last))
}

/// While it could not be had: until somebody had time, and while it was on the bench.
fn downtime(draw: &mut Draw, order: &WorkOrder, proved: Timestamp) -> Vec<Downtime> {
    let down = |line: &work_order::OrderLine| {
        let finding = line.finding.as_ref();
        finding.is_some_and(|finding| matches!(finding.effect, Effect::Stop | Effect::Hold))
    };
    let span = proved.duration_since(order.opened_at);
    if !order.lines.iter().any(down) || span > DOWN_AT_MOST || span.as_mins() < 60 {
        return Vec::new();
    }
    let begun = order.opened_at + SignedDuration::from_secs(span.as_secs() / 2);
    let waited = if order.needs.is_empty() || draw.chance(0.5) {
        "waits for a person"
    } else {
        "waits for parts"
    };
    let spell = |from, to, reason: &str| Downtime {
        from,
        to: Some(to),
        reason: reason.to_owned(),
    };
    vec![
        spell(order.opened_at, begun, waited),
        spell(begun, proved, "under repair"),
    ]
}

/// The winter that an instant is in, by the year of its 1 July.
fn winter_of(at: Timestamp) -> i16 {
    let date = TimeZone::UTC.to_datetime(at).date();
    date.year() - i16::from(date.month() < 7)
}
