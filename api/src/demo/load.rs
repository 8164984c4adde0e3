//! Puts a generated agency into an empty house, as its people would have: through the ordinary write functions, each
//! fact by the person who noted it, a few hundred documents a commit.

mod facts;
mod orders;
mod paper;
mod present;

use std::collections::BTreeSet;
use std::sync::atomic::{AtomicUsize, Ordering};

use futures::{StreamExt, TryStreamExt, stream};
use rimeyard_store::fitted_part::{self, NewFitting};
use rimeyard_store::limited_use::{self, Admission};
use rimeyard_store::meter_reading::{self, NewMeterReading};
use rimeyard_store::snowfall::{self, NewSnowfall};
use rimeyard_store::storm::{self, NewStorm};
use rimeyard_store::task_done::{self, NewTaskDone};
use rimeyard_store::unit::{self, NewUnit};
use rimeyard_store::{Database, Depots, Result, Role, Tenant, feed, organisation, stock};
use uuid::Uuid;

use self::facts::{new_fittings, new_limited_use, new_meter_readings, new_tasks, new_unit};
use super::people::of_role;
use super::plan::{Agency, Depot};

/// Depots loaded at once: the scopes of two depots do not wait for each other.
const DEPOTS_AT_ONCE: usize = 4;
/// Units a commit: each comes with some 26 parts, and a commit has at most 500 documents.
const UNITS_A_COMMIT: usize = 15;
/// Fittings a commit: each ends what it takes the place of.
const FITTINGS_A_COMMIT: usize = 240;
/// Tasks done a commit.
const TASKS_A_COMMIT: usize = 450;
/// Movements of stock a commit.
const MOVES_A_COMMIT: usize = 400;
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
    loading.labour().await?;
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
            session: None,
        }
    }

    fn of_role(&self, role: Role, depot: usize) -> Tenant {
        self.person(of_role(&self.agency.people, role, depot)[0])
    }

    /// The lead of that depot.
    fn lead(&self, depot: &Depot) -> Tenant {
        let id = depot.depot.id;
        let index = self.agency.depots.iter().position(|one| one.depot.id == id);
        self.of_role(Role::DepotLead, index.unwrap_or_default())
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
        let lead = self.lead(depot);
        for days in depot.snowfall.chunks(snowfall::DAYS_MAX) {
            let new = NewSnowfall {
                days: days.to_vec(),
            };
            feed::write(self.database, &lead, &scopes, async |tx| {
                snowfall::note(tx, depot_id, &new).await
            })
            .await?;
        }
        for new in depot.stock.chunks(MOVES_A_COMMIT) {
            let away = new.iter().filter_map(|new| new.to_depot_id);
            let scopes: Vec<Uuid> = away.chain([depot_id]).collect();
            feed::write(self.database, &lead, &scopes, async |tx| {
                stock::record_many(tx, depot_id, new).await
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
            let tasks: Vec<(Uuid, NewTaskDone)> = theirs().flat_map(new_tasks).collect();
            for new in tasks.chunks(TASKS_A_COMMIT) {
                feed::write(self.database, &person, &scopes, async |tx| {
                    task_done::record_many(tx, new, None).await
                })
                .await?;
            }
            self.rounds(&person, depot_id, &theirs().collect::<Vec<_>>())
                .await?;
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
        self.work_at_present(depot, depot_id).await
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
