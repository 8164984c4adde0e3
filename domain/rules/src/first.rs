//! What to fix first at real depots (section 11 of the computation): the jobs that are open there, what each does for its
//! machine's chance, when its parts can be there, and the plan over all of them.
//!
//! A machine's chance is the product of its factors; a job takes some of them from what they are now to what they would be
//! once it is done, worked out by the machine's own chain with the part new, the machine started and the checks answered.
//! What holds, stops or leaves a machine unproven is a factor of 0 until its job is done. Of what a proof start or an
//! inspection finds, the plan takes it that it is put right: else nothing would be gained by going to look.
//!
//! The plan takes the kinds of work of a depot apart, each against all its machines rigged for it, narrow places not apart,
//! and no shared doubt of starts; what is to be gained is the sum of their chances of keeping up.

use std::collections::BTreeMap;

use jiff::Timestamp;
use jiff::civil::Date;
use uuid::Uuid;

use crate::calculations::plan::{DepotInput, Input, JobInput, UnitInput};
use crate::facts::DepotFacts;
use crate::plan::ready::Hours;

mod jobs;
mod list;
mod renewed;
mod shelves;
#[cfg(test)]
mod tests;

pub use jobs::JobKind;
pub use list::{FixFirst, FixJob, LabourLoad, UnitReady, fix_first};
pub use shelves::{JobPart, Shelves};

use jobs::OpenJob;

/// Days until which work counts where no storm has a date and the season runs.
const DAYS_AHEAD: i32 = 7;

/// The labour of a depot.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DepotLabour {
    /// Its technicians' hours.
    pub hours: Vec<Hours>,
    /// What a visit costs before any work is done, minutes.
    pub travel_minutes: f64,
}

/// What is open at a depot, and what it would change.
#[derive(Debug, Clone)]
pub struct OpenWork {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// The civil date there.
    pub today: Date,
    /// The storm that its chances are about.
    pub storm: String,
    /// The day by which work is to be done: that on which the storm starts, else the season, else a week from now.
    pub until: Date,
    /// The first day of the season running, else of the next.
    pub season_starts: Date,
    /// Its labour.
    pub labour: DepotLabour,
    jobs: Vec<OpenJob>,
    works: Vec<WorkUnits>,
}

/// A kind of work with its machines, as the plan takes it.
#[derive(Debug, Clone)]
struct WorkUnits {
    needed_rate: f64,
    operators: Option<u32>,
    /// Each machine's rate, and its chance but for its jobs.
    units: Vec<(Uuid, f64, f64)>,
}

/// What is open at a depot as it stands at `as_of`.
pub fn open_work(facts: &DepotFacts, labour: DepotLabour, as_of: Timestamp) -> OpenWork {
    jobs::gather(facts, labour, as_of)
}

impl OpenWork {
    /// Its technicians' minutes from today to the day before `until`.
    fn minutes_left(&self, until: Date) -> f64 {
        self.queue_labour(until).load(&[]).left_minutes
    }

    fn queue_labour(&self, until: Date) -> crate::plan::ready::Labour<'_> {
        crate::plan::ready::Labour {
            hours: &self.labour.hours,
            travel_minutes: self.labour.travel_minutes,
            today: self.today,
            season_starts: until,
        }
    }

    /// The plan's input, with the jobs that `possible` picks; the others' factors stay as they are.
    fn planned(&self, possible: &dyn Fn(&OpenJob) -> bool) -> Vec<DepotInput> {
        let mut by_unit: BTreeMap<Uuid, Vec<&OpenJob>> = BTreeMap::new();
        for job in &self.jobs {
            by_unit.entry(job.unit_id).or_default().push(job);
        }
        let none = Vec::new();
        let unit = |(id, rate, rest): &(Uuid, f64, f64)| {
            let jobs = by_unit.get(id).unwrap_or(&none);
            let can = |job: &&&OpenJob| possible(job) && job.after > job.now;
            UnitInput {
                rest: jobs
                    .iter()
                    .filter(|job| !can(job))
                    .fold(*rest, |rest, job| rest * job.now),
                rate: *rate,
                jobs: (jobs.iter().filter(can))
                    .map(|job| JobInput {
                        id: job.id.clone(),
                        minutes: job.minutes,
                        now: job.now,
                        after: job.after,
                    })
                    .collect(),
            }
        };
        let depot = |work: &WorkUnits| DepotInput {
            needed_rate: work.needed_rate,
            operators: work.operators.map(f64::from),
            weight: 1.0,
            travel_minutes: self.labour.travel_minutes,
            units: work.units.iter().map(unit).collect(),
        };
        self.works.iter().map(depot).collect()
    }
}

/// What is asked of a plan.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Asked {
    /// The day by which work is to be done, in place of each depot's own.
    pub until: Option<Date>,
    /// Minutes of labour there are, travel in them, in place of the technicians' hours until then.
    pub minutes: Option<f64>,
}

/// What several depots' plans are made from and come to: the `plan` calculation's input.
pub type PlanInput = Input;
