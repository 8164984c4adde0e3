//! What is answered: the plan's jobs in their order, what else is open, when each machine can be ready.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use jiff::civil::Date;
use serde::Serialize;
use uuid::Uuid;

use super::jobs::{JobKind, OpenJob};
use super::shelves::{JobPart, Shelves};
use super::{Asked, OpenWork, PlanInput};
use crate::Invalid;
use crate::because::odds;
use crate::calculations::plan::calculate;
use crate::plan::JobId;
use crate::plan::ready::Queued;

/// What to fix first.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct FixFirst {
    /// As of when.
    pub as_of: Timestamp,
    /// Minutes of labour there are, travel in them.
    pub minutes: f64,
    /// Minutes of the jobs to do, with travel.
    pub minutes_used: f64,
    /// By how much the chances of keeping up rise by them, each kind of work of each depot counted 1.
    pub gain: f64,
    /// The jobs to do in these minutes, in their order.
    pub jobs: Vec<FixJob>,
    /// What else is open: for safety first, then what its machine would gain by most. It does not fit, waits for parts, or changes
    /// no chance.
    pub open: Vec<FixJob>,
    /// When each machine with a job for safety, or one that changes its chance, can be ready, in the order of the queue: the jobs to
    /// do, and what else is open behind them.
    pub units: Vec<UnitReady>,
    /// Open work against the labour there is, depot by depot.
    pub depots: Vec<LabourLoad>,
    /// What POST /v1/calculations/plan makes the same plan of; absent where it is of more depots than one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inputs: Option<PlanInput>,
}

/// A job.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct FixJob {
    /// What the plan calls it.
    pub id: JobId,
    /// The depot.
    pub depot_id: Uuid,
    /// The machine.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// What kind of job it is.
    pub kind: JobKind,
    /// Whether it is for safety. Its machine does not run before it is done, whatever the plan says.
    pub safety: bool,
    /// What to do.
    pub title: String,
    /// Labour, minutes.
    pub minutes: f64,
    /// What it takes from the shelf, and where that is.
    pub parts: Vec<JobPart>,
    /// The day on which the last of its parts can be there; none where nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub parts_on: Option<Date>,
    /// The factor of the machine's chance that it changes, as it is.
    pub now: f64,
    /// The factor once it is done.
    pub after: f64,
    /// The machine's orders that are open: the job may be on one of them.
    pub orders: Vec<Uuid>,
    /// Why, in a sentence.
    pub because: String,
}

/// When a machine can be ready.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct UnitReady {
    /// The depot.
    pub depot_id: Uuid,
    /// The machine.
    pub unit_id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// The day on which the last of its parts can be there; none where nobody knows.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub parts_on: Option<Date>,
    /// The day on which the last of those jobs is done; none where parts or labour do not come within ten years.
    #[cfg_attr(feature = "schema", schema(value_type = Option<String>, format = Date))]
    pub ready_on: Option<Date>,
    /// Whether that is before `until`.
    pub in_time: bool,
}

/// Open work against the labour there is.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub struct LabourLoad {
    /// The depot.
    pub depot_id: Uuid,
    /// Its name.
    pub name: String,
    /// The storm that its chances are about.
    pub storm: String,
    /// The day by which work counts: that on which the storm starts, else the season, else a week from now.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub until: Date,
    /// The first day of the season running, else of the next.
    #[cfg_attr(feature = "schema", schema(value_type = String, format = Date))]
    pub season_starts: Date,
    /// Minutes of all open jobs, with travel.
    pub open_minutes: f64,
    /// Minutes of its technicians from today to the day before `until`.
    pub left_minutes: f64,
}

/// A plan is made again without what turns out to wait for parts that other jobs take: so often at most.
const ROUNDS_MAX: usize = 8;

/// What to fix first at these depots.
///
/// # Errors
/// Field `depots` or what is in it: more than can be planned at once.
pub fn fix_first(
    depots: &[OpenWork],
    shelves: &Shelves,
    asked: Asked,
    as_of: Timestamp,
) -> Result<FixFirst, Invalid> {
    let until = |depot: &OpenWork| asked.until.unwrap_or(depot.until);
    let minutes = asked.minutes.unwrap_or_else(|| {
        let left = depots.iter().map(|depot| depot.minutes_left(until(depot)));
        left.sum()
    });
    let mut known: BTreeMap<&JobId, (&OpenWork, &OpenJob)> = BTreeMap::new();
    for depot in depots {
        known.extend(depot.jobs.iter().map(|job| (&job.id, (depot, job))));
    }
    let mut waits: BTreeSet<&JobId> = BTreeSet::new();
    for (id, (depot, job)) in &known {
        let parts = shelves
            .clone_for(&job.words)
            .take(depot.depot_id, &job.words, depot.today);
        if later(parts_on(&parts, depot.today), until(depot)) {
            waits.insert(id);
        }
    }
    let mut round = 0;
    let (inputs, plan, jobs, mut left) = loop {
        let possible = |job: &OpenJob| !waits.contains(&job.id);
        let inputs = PlanInput {
            depots: depots
                .iter()
                .flat_map(|depot| depot.planned(&possible))
                .collect(),
            minutes,
        };
        let plan = calculate(&inputs)?;
        let mut left = shelves.clone();
        let mut jobs = Vec::with_capacity(plan.jobs.len());
        let mut late = Vec::new();
        for (id, (depot, job)) in plan.jobs.iter().filter_map(|id| known.get_key_value(id)) {
            let told = told(depot, job, &mut left);
            if later(told.parts_on, until(depot)) {
                late.push(*id);
            }
            jobs.push(told);
        }
        round += 1;
        if late.is_empty() || round == ROUNDS_MAX {
            break (inputs, plan, jobs, left);
        }
        waits.extend(late);
    };
    let planned: BTreeSet<&JobId> = plan.jobs.iter().collect();
    let mut rest: Vec<(&OpenWork, &OpenJob)> = (known.iter())
        .filter(|(id, _)| !planned.contains(*id))
        .map(|(_, both)| *both)
        .collect();
    rest.sort_by(|(_, a), (_, b)| {
        let gain = |job: &OpenJob| job.after - job.now;
        (b.safety.cmp(&a.safety))
            .then_with(|| gain(b).total_cmp(&gain(a)))
            .then_with(|| a.tag.cmp(&b.tag))
            .then_with(|| a.id.cmp(&b.id))
    });
    let open = rest.iter().map(|(depot, job)| told(depot, job, &mut left));
    let open: Vec<FixJob> = open.collect();
    let mut answer = FixFirst {
        as_of,
        minutes,
        minutes_used: plan.minutes_used,
        gain: plan.gain,
        units: Vec::new(),
        depots: Vec::new(),
        inputs: (depots.len() == 1).then_some(inputs),
        jobs,
        open,
    };
    for depot in depots {
        answer.add_labour(depot, until(depot));
    }
    Ok(answer)
}

impl FixFirst {
    fn add_labour(&mut self, depot: &OpenWork, until: Date) {
        let all = self.jobs.iter().chain(&self.open);
        let own: Vec<&FixJob> = all.filter(|job| job.depot_id == depot.depot_id).collect();
        let queued = |job: &&FixJob| Queued {
            unit: job.unit_id,
            minutes: job.minutes,
            parts_on: job.parts_on,
        };
        let tags: BTreeMap<Uuid, &String> = own.iter().map(|job| (job.unit_id, &job.tag)).collect();
        let labour = depot.queue_labour(until);
        let load = labour.load(&own.iter().map(queued).collect::<Vec<_>>());
        // A machine is ready without what changes nothing, which is last in the queue.
        let matter = own.iter().filter(|job| job.safety || job.after > job.now);
        let queue: Vec<Queued> = matter.map(queued).collect();
        let units = labour.ready(&queue).into_iter().map(|ready| UnitReady {
            depot_id: depot.depot_id,
            unit_id: ready.unit,
            tag: tags
                .get(&ready.unit)
                .map_or_else(String::new, |tag| (*tag).clone()),
            parts_on: ready.parts_on,
            ready_on: ready.ready_on,
            in_time: ready.before_season,
        });
        let units: Vec<UnitReady> = units.collect();
        self.units.extend(units);
        self.depots.push(LabourLoad {
            depot_id: depot.depot_id,
            name: depot.name.clone(),
            storm: depot.storm.clone(),
            until,
            season_starts: depot.season_starts,
            open_minutes: load.open_minutes,
            left_minutes: load.left_minutes.floor(),
        });
    }
}

fn later(parts_on: Option<Date>, until: Date) -> bool {
    parts_on.is_none_or(|on| on >= until)
}

/// The day on which the last of these is there; today where there are none.
fn parts_on(parts: &[JobPart], today: Date) -> Option<Date> {
    parts
        .iter()
        .try_fold(today, |last, part| Some(last.max(part.on?)))
}

/// The job with its parts taken off the shelves.
fn told(depot: &OpenWork, job: &OpenJob, shelves: &mut Shelves) -> FixJob {
    let parts = shelves.take(depot.depot_id, &job.words, depot.today);
    let rises = if job.after - job.now < 1e-9 {
        "it changes no chance in this storm".to_owned()
    } else if job.now == 0.0 {
        "until it is done the machine does not count".to_owned()
    } else {
        format!(
            "what it stands for goes from {} to {}",
            odds(job.now),
            odds(job.after)
        )
    };
    FixJob {
        id: job.id.clone(),
        depot_id: depot.depot_id,
        unit_id: job.unit_id,
        tag: job.tag.clone(),
        kind: job.kind,
        safety: job.safety,
        title: job.title.clone(),
        minutes: job.minutes,
        parts_on: parts_on(&parts, depot.today),
        parts,
        now: job.now,
        after: job.after,
        orders: job.orders.clone(),
        because: format!("{}: {}; {rises}", job.tag, job.because),
    }
}
