//! What to fix first (section 11 of the computation): which jobs to do in the minutes there are, and in which order.
//!
//! A job (a repair, a due task, an inspection, a proof start) makes a machine likelier to work, and so its depot likelier to keep
//! up. What jobs are worth together is not the sum of what each is worth: two repairs may be worth nothing apart. So
//! `yard` prepares each depot; `windows` finds what can be had there, by all `subsets` of its jobs where they are few,
//! along `paths` of bundles where they are many; `place` puts together what one visit serves; `join` shares the minutes out
//! among places; and `order` says what comes first. When machines will be ready is asked of [`ready`].
//!
//! Minutes are counted in whole thousandths: of jobs and travel rounded up, of what there is to spend rounded down.
//! So a plan never takes more than there is.

use serde::{Deserialize, Serialize};

mod changes;
mod choice;
mod join;
mod order;
mod paths;
mod place;
pub mod ready;
mod slopes;
mod subsets;
mod windows;
mod work;
mod yard;

pub use work::TooMuch;

use choice::Choice;
use work::Work;
use yard::Yard;

/// What a job is called: a text, or a whole number.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(untagged, expecting = "an id is a text or a whole number")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum JobId {
    /// A whole number.
    Number(i64),
    /// A text.
    Text(String),
}

/// A depot whose machines may be worked on.
#[derive(Debug, Clone, PartialEq)]
pub struct Depot {
    /// The rate it needs, in its machines' unit, at least 0.
    pub needed_rate: f64,
    /// How many machines can be driven at once; `None`: all.
    pub operators: Option<u32>,
    /// What its chance weighs among other depots', at least 0.
    pub weight: f64,
    /// What a visit costs before any work is done, minutes; spent once, and only if there is a job.
    pub travel_minutes: f64,
    /// Where it is: at one place, as the kinds of work of one yard are, one visit serves all. `None`: by itself.
    pub place: Option<String>,
    /// Its machines.
    pub units: Vec<Unit>,
}

/// A machine: it works with chance `rest` times what each job stands for.
#[derive(Debug, Clone, PartialEq)]
pub struct Unit {
    /// The chance that no job changes; 0 of a machine held by what no job here mends.
    pub rest: f64,
    /// Its rate, at least 0.
    pub rate: f64,
    /// What can be done for it.
    pub jobs: Vec<Job>,
}

/// Something that can be done for a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// Its id, no other's.
    pub id: JobId,
    /// Labour, minutes, at least 0.
    pub minutes: f64,
    /// The factor of the machine's chance until it is done: 0 of what holds or stops it.
    pub now: f64,
    /// The factor once it is done.
    pub after: f64,
}

/// What to do.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    /// The jobs, first first.
    pub jobs: Vec<JobId>,
    /// By how much the depots' chances rise, each times its weight, summed.
    pub gain: f64,
    /// Minutes of the jobs and of travel.
    pub minutes_used: f64,
}

/// Chances that differ by less are the same: what makes nothing better but by rounding is not done.
const SAME: f64 = 1e-12;

/// Minutes in whole thousandths.
type Ticks = u64;
const TICKS_A_MINUTE: f64 = 1000.0;

/// Minutes that are spent. Slack is for thousandths that binary fractions only come close to.
fn spent(minutes: f64) -> Ticks {
    (minutes * TICKS_A_MINUTE - 1e-6).ceil() as Ticks
}

/// Minutes that can be spent.
fn at_hand(minutes: f64) -> Ticks {
    (minutes * TICKS_A_MINUTE + 1e-6).floor() as Ticks
}

/// The jobs to do in `minutes`, in their order (see `order`). The same whatever the order of what is given.
///
/// # Errors
/// [`TooMuch`] where it would take too long, counted in steps of computation and not in time, so that what is answered
/// on one machine is answered on all.
pub fn plan(depots: &[Depot], minutes: f64) -> Result<Plan, TooMuch> {
    plan_with(depots, minutes, windows::WINDOW_MAX)
}

/// [`plan`] with windows of at most so many tasks.
fn plan_with(depots: &[Depot], minutes: f64, window_max: usize) -> Result<Plan, TooMuch> {
    let at_hand = at_hand(minutes);
    let mut work = Work::new();
    let mut yards = Vec::new();
    for depot in depots {
        yards.extend(Yard::new(depot, at_hand, &mut work)?);
    }
    yards.sort_by(|one, other| one.first_id().cmp(other.first_id()));
    let mut choices: Vec<Vec<Choice>> = Vec::with_capacity(yards.len());
    for (index, yard) in yards.iter().enumerate() {
        let share = work.share(yards.len() - index);
        choices.push(windows::choices(
            yard, at_hand, window_max, share, &mut work,
        )?);
    }
    let places = place::places(&yards, &choices, at_hand, &mut work)?;
    let worth: Vec<_> = places.iter().map(|place| place.worth.as_slice()).collect();
    let chosen = join::join(&worth, at_hand);
    let mut work = Work::new();
    let mut ordered = 0;
    let mut visits = Vec::new();
    for (place, chosen) in places.iter().zip(chosen) {
        let mut here = Vec::new();
        for (index, pick) in place.yards.iter().zip(&place.worth[chosen].picks) {
            let share = work.share(yards.len() - ordered);
            ordered += 1;
            let tasks = &choices[*index][*pick as usize].tasks;
            let tasks = tasks.iter().map(|task| *task as usize).collect();
            here.extend(order::visit(&yards[*index], tasks, share, &mut work)?);
        }
        visits.extend(order::Visit::of_all(here));
    }
    visits.sort_by(order::Visit::before);
    let jobs = visits.iter().flat_map(|visit| visit.jobs.iter().cloned());
    // From 0.0: the sum of nothing would be -0.0.
    let total =
        |of: fn(&order::Visit) -> f64| visits.iter().map(of).fold(0.0, |sum, one| sum + one);
    Ok(Plan {
        jobs: jobs.collect(),
        gain: total(|visit| visit.gain),
        // It is no more but for the last digit of the sum.
        minutes_used: total(|visit| visit.minutes).min(minutes),
    })
}

#[cfg(test)]
mod tests;
