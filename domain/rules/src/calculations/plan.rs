//! `plan`: what to fix first, in the minutes there are.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::{LIST_MAX, chance, list, not_negative, whole};
use crate::Invalid;
use crate::plan::{Depot, Job, JobId, Unit, plan};

/// Characters of a text that is an id or a place, at most.
const ID_MAX: usize = 200;

/// What is asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PlanInput))]
pub struct Input {
    /// The depots, possibly none; at most 10,000 jobs in all.
    pub depots: Vec<DepotInput>,
    /// Minutes there are, for jobs and travel.
    pub minutes: f64,
}

/// A depot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PlanDepot))]
pub struct DepotInput {
    /// Rate needed, in its machines' unit: m2/h, or kg/h of spreading.
    pub needed_rate: f64,
    /// Operators, whole; absent where there are enough for all machines.
    #[serde(default)]
    pub operators: Option<f64>,
    /// What a rise of its chance weighs.
    pub weight: f64,
    /// What a visit costs before any work is done, minutes; once, and only if it has a job in the plan.
    pub travel_minutes: f64,
    /// Where it is, 1 to 200 characters; absent: by itself. Depots of one place, as the kinds of work of one yard are, are served
    /// by one visit, so their `travel_minutes` are the same and spent once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// Its machines, possibly none.
    pub units: Vec<UnitInput>,
}

/// One machine: it works with `rest` times the factors of its jobs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PlanUnit))]
pub struct UnitInput {
    /// The chance that no job changes; 0 where what holds it is mended by none of them.
    pub rest: f64,
    /// Its rate: m2/h, or kg/h of spreading.
    pub rate: f64,
    /// What can be done for it, possibly nothing.
    pub jobs: Vec<JobInput>,
}

/// One job.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PlanJob))]
pub struct JobInput {
    /// A text of 1 to 200 characters or a whole number, no other job's.
    pub id: JobId,
    /// Labour, minutes.
    pub minutes: f64,
    /// The factor of the machine's chance until it is done; 0 of what holds or stops it.
    pub now: f64,
    /// The factor once it is done.
    pub after: f64,
}

/// What is answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = PlanOutput))]
pub struct Output {
    /// The jobs to do. Depot by depot, the visit first that is worth most a minute; at a depot first the bundle of up to three
    /// jobs that is worth most a minute from where the depot then stands; of equals the least id.
    pub jobs: Vec<JobId>,
    /// By how much the depots' chances rise, each times its weight.
    pub gain: f64,
    /// Minutes of these jobs and of travel.
    pub minutes_used: f64,
}

/// Answers it.
///
/// # Errors
/// The first field that cannot be, and depots that would take too long.
pub fn calculate(input: &Input) -> Result<Output, Invalid> {
    not_negative("minutes", input.minutes)?;
    list("depots", &input.depots)?;
    let mut known = BTreeSet::new();
    let mut ways = BTreeMap::new();
    let mut depots = Vec::with_capacity(input.depots.len());
    for (index, depot) in input.depots.iter().enumerate() {
        let inside = |fault: Invalid| fault.within(&format!("depots[{index}]"));
        depots.push(depot_of(depot, &mut known).map_err(inside)?);
        way_to(depot, &mut ways).map_err(inside)?;
    }
    let plan = plan(&depots, input.minutes)
        .map_err(|too_much| Invalid::new("depots", too_much.to_string()))?;
    Ok(Output {
        jobs: plan.jobs,
        gain: plan.gain,
        minutes_used: plan.minutes_used,
    })
}

fn depot_of<'a>(depot: &'a DepotInput, known: &mut BTreeSet<&'a JobId>) -> Result<Depot, Invalid> {
    not_negative("needed_rate", depot.needed_rate)?;
    let operators = depot
        .operators
        .map(|operators| whole("operators", operators, 1_000_000))
        .transpose()?;
    not_negative("weight", depot.weight)?;
    not_negative("travel_minutes", depot.travel_minutes)?;
    list("units", &depot.units)?;
    let mut units = Vec::with_capacity(depot.units.len());
    for (index, unit) in depot.units.iter().enumerate() {
        let inside = |fault: Invalid| fault.within(&format!("units[{index}]"));
        units.push(unit_of(unit, known).map_err(inside)?);
    }
    Ok(Depot {
        needed_rate: depot.needed_rate,
        operators,
        weight: depot.weight,
        travel_minutes: depot.travel_minutes,
        place: depot.place.clone(),
        units,
    })
}

/// That there is one way to a place.
fn way_to<'a>(depot: &'a DepotInput, ways: &mut BTreeMap<&'a str, f64>) -> Result<(), Invalid> {
    let Some(place) = &depot.place else {
        return Ok(());
    };
    if !(1..=ID_MAX).contains(&place.chars().count()) {
        let problem = format!("must have 1 to {ID_MAX} characters");
        return Err(Invalid::new("place", problem));
    }
    if *ways.entry(place).or_insert(depot.travel_minutes) != depot.travel_minutes {
        let problem = "is not that of the other depots of its place; there is one way to it";
        return Err(Invalid::new("travel_minutes", problem));
    }
    Ok(())
}

fn unit_of<'a>(unit: &'a UnitInput, known: &mut BTreeSet<&'a JobId>) -> Result<Unit, Invalid> {
    chance("rest", unit.rest)?;
    not_negative("rate", unit.rate)?;
    let mut jobs = Vec::with_capacity(unit.jobs.len());
    for (index, job) in unit.jobs.iter().enumerate() {
        if known.len() == LIST_MAX {
            let problem = format!("make more than {LIST_MAX} jobs in all; give fewer at a time");
            return Err(Invalid::new("jobs", problem));
        }
        let inside = |fault: Invalid| fault.within(&format!("jobs[{index}]"));
        jobs.push(job_of(job, known).map_err(inside)?);
    }
    Ok(Unit {
        rest: unit.rest,
        rate: unit.rate,
        jobs,
    })
}

fn job_of<'a>(job: &'a JobInput, known: &mut BTreeSet<&'a JobId>) -> Result<Job, Invalid> {
    if let JobId::Text(text) = &job.id
        && !(1..=ID_MAX).contains(&text.chars().count())
    {
        let problem = format!("must have 1 to {ID_MAX} characters");
        return Err(Invalid::new("id", problem));
    }
    not_negative("minutes", job.minutes)?;
    chance("now", job.now)?;
    chance("after", job.after)?;
    if !known.insert(&job.id) {
        let problem = "is another job's, too; give each job an id of its own";
        return Err(Invalid::new("id", problem));
    }
    Ok(Job {
        id: job.id.clone(),
        minutes: job.minutes,
        now: job.now,
        after: job.after,
    })
}
