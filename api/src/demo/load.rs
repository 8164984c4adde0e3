//! Puts a generated agency into an empty house, as its people would have: through the ordinary write functions, each
//! fact by the person who noted it, a few hundred documents a commit.

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};

use futures::{StreamExt, TryStreamExt, stream};
use rimeyard_store::checklist::{self, NewChecklist};
use rimeyard_store::fitted_part::{self, NewFitting};
use rimeyard_store::inspection::{self, NewInspection, NewReading};
use rimeyard_store::limited_use::{self, Admission, NewLimitedUse};
use rimeyard_store::meter_reading::{self, NewMeterReading};
use rimeyard_store::model::{self, NewModel};
use rimeyard_store::person::{self, NewPerson};
use rimeyard_store::storm::{self, NewStorm};
use rimeyard_store::unit::{self, NewUnit};
use rimeyard_store::{Database, Depots, Result, Role, Tenant, depot, feed, organisation};
use uuid::Uuid;

use super::people::of_role;
use super::plan::{Agency, Depot, Inspection, LimitedUse, Machine};
use rimeyard_rules::verdict::ReadingInput;

/// Depots loaded at once: the scopes of two depots do not wait for each other.
const DEPOTS_AT_ONCE: usize = 4;
/// Units a commit: each comes with some 26 parts, and a commit has at most 500 documents.
const UNITS_A_COMMIT: usize = 15;
/// Fittings a commit: each ends what it takes the place of.
const FITTINGS_A_COMMIT: usize = 240;
/// Inspections a commit: a full one has some 8 kB, and a commit has at most 1 MiB.
const INSPECTIONS_A_COMMIT: usize = 80;
/// Meter readings a commit.
const METER_READINGS_A_COMMIT: usize = 450;

/// Loads an agency, and answers with the organisation made for it. Nobody can sign in to it yet.
///
/// # Errors
/// Those of the store. What was loaded before an error stays, in an organisation that nobody can sign in to.
pub async fn load_agency(
    database: &Database,
    agency: &Agency,
    progress: &impl Fn(&str),
) -> Result<Uuid> {
    let org_id = organisation::create(database, agency.name, None).await?;
    let loading = Loading {
        database,
        agency,
        org_id,
        progress,
        counts: Counts::default(),
    };
    loading.on_paper().await?;
    let mut machines = stream::iter(&agency.depots)
        .map(|depot| loading.depot(depot))
        .buffer_unordered(DEPOTS_AT_ONCE);
    while machines.try_next().await?.is_some() {}
    drop(machines);
    loading.storm().await?;
    Ok(org_id)
}

#[derive(Default)]
struct Counts {
    inspections: AtomicUsize,
}

struct Loading<'a, P> {
    database: &'a Database,
    agency: &'a Agency,
    org_id: Uuid,
    progress: &'a P,
    counts: Counts,
}

impl<P: Fn(&str)> Loading<'_, P> {
    /// One of the agency's people, at work.
    fn person(&self, index: usize) -> Tenant {
        let person = &self.agency.people[index];
        Tenant {
            org_id: self.org_id,
            person_id: Some(person.id),
            role: person.role,
            // They write about what is theirs; the loader sees to that.
            depots: Depots::All,
            request_id: None,
        }
    }

    fn of_role(&self, role: Role, depot: usize) -> Tenant {
        self.person(of_role(&self.agency.people, role, depot)[0])
    }

    /// Depots, people, the checklist and the models.
    async fn on_paper(&self) -> Result<()> {
        let agency = self.agency;
        (self.progress)(&format!(
            "depots {}, people {}",
            agency.depots.len(),
            agency.people.len()
        ));
        let depot_ids: Vec<Uuid> = agency
            .depots
            .iter()
            .filter_map(|depot| depot.depot.id)
            .collect();
        feed::write(
            self.database,
            &Tenant::system(self.org_id),
            &[self.org_id],
            async |tx| {
                for depot in &agency.depots {
                    depot::create(tx, &depot.depot).await?;
                }
                for person in &agency.people {
                    let granted = person.depots.iter().flatten();
                    let depots: BTreeSet<Uuid> = granted
                        .filter_map(|index| depot_ids.get(*index).copied())
                        .collect();
                    let new = NewPerson {
                        id: Some(person.id),
                        name: person.name.to_owned(),
                        role: person.role,
                        all_depots: person.depots.is_none(),
                        depots,
                        email: None,
                        password: None,
                    };
                    person::create(tx, &new, None).await?;
                }
                Ok(())
            },
        )
        .await?;
        let administrator = self.of_role(Role::Administrator, 0);
        feed::write(self.database, &administrator, &[self.org_id], async |tx| {
            for (checklist_id, content) in &agency.checklists {
                let new = NewChecklist {
                    id: Some(*checklist_id),
                    name: format!("{}, bottom up", content.kind),
                    kind: content.kind.clone(),
                    content: Some(content.clone()),
                };
                checklist::create(tx, &new).await?;
            }
            for model in &agency.models {
                let new = NewModel {
                    id: Some(model.id),
                    name: model.name.to_owned(),
                    kind: model.sheet.kind.clone(),
                    checklist_id: model.checklist,
                    sheet: Some(model.sheet.clone()),
                };
                model::create(tx, &new).await?;
            }
            Ok(())
        })
        .await
    }

    /// One depot's machines with their history.
    async fn depot(&self, depot: &Depot) -> Result<()> {
        let Some(depot_id) = depot.depot.id else {
            return Ok(());
        };
        let scopes = [depot_id];
        let administrator = self.of_role(Role::Administrator, 0);
        for machines in depot.machines.chunks(UNITS_A_COMMIT) {
            let new: Vec<NewUnit> = machines
                .iter()
                .map(|machine| new_unit(machine, depot_id))
                .collect();
            feed::write(self.database, &administrator, &scopes, async |tx| {
                unit::create_many(tx, &new).await
            })
            .await?;
        }
        let mut technicians: Vec<usize> = depot
            .machines
            .iter()
            .map(|machine| machine.technician)
            .collect();
        technicians.sort_unstable();
        technicians.dedup();
        for technician in technicians {
            let person = self.person(technician);
            let theirs = || {
                depot
                    .machines
                    .iter()
                    .filter(|machine| machine.technician == technician)
            };
            let fittings: Vec<(Uuid, NewFitting)> = theirs().flat_map(new_fittings).collect();
            for new in fittings.chunks(FITTINGS_A_COMMIT) {
                feed::write(self.database, &person, &scopes, async |tx| {
                    fitted_part::fit_many(tx, new).await
                })
                .await?;
            }
            let inspections: Vec<NewInspection> = theirs().flat_map(new_inspections).collect();
            for new in inspections.chunks(INSPECTIONS_A_COMMIT) {
                feed::write(self.database, &person, &scopes, async |tx| {
                    inspection::record_many(tx, new).await
                })
                .await?;
                self.told_of(new.len());
            }
        }
        let operators: BTreeSet<usize> = depot
            .machines
            .iter()
            .map(|machine| machine.operator)
            .collect();
        for operator in operators {
            let theirs = depot
                .machines
                .iter()
                .filter(|machine| machine.operator == operator);
            let readings: Vec<NewMeterReading> = theirs.flat_map(new_meter_readings).collect();
            let person = self.person(operator);
            for new in readings.chunks(METER_READINGS_A_COMMIT) {
                feed::write(self.database, &person, &scopes, async |tx| {
                    meter_reading::record_many(tx, new).await
                })
                .await?;
            }
        }
        Ok(())
    }

    /// Says how far the inspections are, every few hundred.
    fn told_of(&self, more: usize) {
        let of: usize = self
            .agency
            .depots
            .iter()
            .flat_map(|depot| &depot.machines)
            .map(|m| m.inspections.len())
            .sum();
        let before = self.counts.inspections.fetch_add(more, Ordering::Relaxed);
        let now = before + more;
        if now / 200 > before / 200 || now == of {
            (self.progress)(&format!(
                "inspections {} of {}",
                thousands(now),
                thousands(of)
            ));
        }
    }

    /// The coming storm, and who works under limits in it.
    async fn storm(&self) -> Result<()> {
        (self.progress)(&format!("storm {}", self.agency.storm.name));
        let storm = &self.agency.storm;
        let depots: Vec<Uuid> = self
            .agency
            .depots
            .iter()
            .filter_map(|depot| depot.depot.id)
            .collect();
        let new = NewStorm {
            id: Some(storm.id),
            name: storm.name.to_owned(),
            starts_at: storm.starts_at,
            ends_at: storm.ends_at,
            depth_mm: storm.depth_mm,
            reclear_mm: storm.reclear_mm,
            density_kg_m3: None,
            temperature_c: Some(storm.temperature_c),
            low_c: Some(storm.low_c),
            depots: depots.clone(),
        };
        let manager = self.of_role(Role::DistrictManager, 0);
        feed::write(self.database, &manager, &depots, async |tx| {
            storm::create(tx, &new).await
        })
        .await?;
        for (index, depot) in self.agency.depots.iter().enumerate() {
            let Some(depot_id) = depot.depot.id else {
                continue;
            };
            let lead = self.of_role(Role::DepotLead, index);
            let limited = depot
                .machines
                .iter()
                .filter_map(|m| Some((m.id, m.limited_use.as_ref()?)));
            for (unit_id, limited) in limited {
                let new = new_limited_use(limited);
                let admission = Admission { storm_id: storm.id };
                feed::write(self.database, &lead, &[depot_id], async |tx| {
                    limited_use::allow(tx, unit_id, &new).await?;
                    limited_use::admit(tx, limited.id, admission).await
                })
                .await?;
            }
        }
        Ok(())
    }
}

/// "1,200".
fn thousands(count: usize) -> String {
    if count < 1000 {
        count.to_string()
    } else {
        format!("{},{:03}", count / 1000, count % 1000)
    }
}

fn new_unit(machine: &Machine, depot_id: Uuid) -> NewUnit {
    NewUnit {
        id: Some(machine.id),
        tag: machine.tag.clone(),
        depot_id,
        model_id: machine.model,
        rigging: machine.rigging,
        away: machine.away.map(str::to_owned),
        acquired_on: machine.acquired_on,
        // The agency buys new; where the papers are lost nobody knows what was on a machine that day.
        came_new: machine.acquired_on.is_some(),
    }
}

fn new_fittings(machine: &Machine) -> impl Iterator<Item = (Uuid, NewFitting)> {
    machine.fittings.iter().map(|fitting| {
        let new = NewFitting {
            id: Some(fitting.id),
            part: fitting.part.to_owned(),
            how: fitting.how,
            fitted_at: fitting.at,
            fitted_hours: Some(fitting.hours),
            failed: fitting.failed,
        };
        (machine.id, new)
    })
}

fn new_inspections(machine: &Machine) -> impl Iterator<Item = NewInspection> {
    machine
        .inspections
        .iter()
        .map(|inspection: &Inspection| NewInspection {
            id: Some(inspection.id),
            unit_id: machine.id,
            kind: inspection.kind,
            performed_at: inspection.at,
            run_hours: inspection.run_hours,
            readings: inspection.readings.iter().map(new_reading).collect(),
            note: None,
            corrects: None,
        })
}

fn new_reading(reading: &ReadingInput) -> NewReading {
    NewReading {
        check: reading.check.clone(),
        value: reading.value,
        unit: reading.unit.clone(),
        grade: reading.grade.clone(),
        works: reading.works,
        level: reading.level.clone(),
        temperature_c: reading.temperature_c,
        full_charge: reading.full_charge,
        repeats: reading.repeats,
        note: reading.note.clone(),
        ..NewReading::default()
    }
}

fn new_meter_readings(machine: &Machine) -> impl Iterator<Item = NewMeterReading> {
    machine.meter.iter().map(|reading| NewMeterReading {
        id: Some(reading.id),
        unit_id: machine.id,
        read_at: reading.at,
        run_hours: reading.run_hours,
        estimated: reading.estimated,
        meter_replaced: false,
        started: reading.started,
        corrects: None,
        note: None,
    })
}

fn new_limited_use(limited: &LimitedUse) -> NewLimitedUse {
    NewLimitedUse {
        id: Some(limited.id),
        reason: limited.reason.to_owned(),
        starts_at: limited.starts_at,
        ends_at: limited.ends_at,
    }
}
