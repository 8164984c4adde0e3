//! What comes first.
//!
//! Place by place, since the way there is counted once: first the visit that is worth most a minute, travel among its
//! minutes; of equals the one with the least id. At a depot it is likewise the bundle of up to three of its jobs that is worth most a
//! minute from where the depot then stands, so that what only pays together stands together; in a bundle, job by job the same.
//! Where no bundle is worth anything by itself the rest stands by id. If people run out of time, what was done first was
//! worth most.

use std::cmp::Ordering;

use super::changes::Changes;
use super::paths::{self, Pace};
use super::slopes::BUNDLE_MAX;
use super::work::{TooMuch, Work};
use super::yard::Yard;
use super::{JobId, SAME};

/// One task after another.
const SINGLE: Pace = Pace {
    size: 1,
    at_once: 1,
};

/// A visit of one depot.
pub(super) struct Visit {
    /// In their order.
    pub(super) jobs: Vec<JobId>,
    pub(super) gain: f64,
    /// With the way.
    pub(super) minutes: f64,
    way_minutes: f64,
}

impl Visit {
    /// One visit in place of these, which are at one place: worth most a minute first, and the way once.
    pub(super) fn of_all(mut visits: Vec<Visit>) -> Option<Visit> {
        visits.sort_by(Visit::before);
        visits.into_iter().reduce(|mut all, mut next| {
            all.jobs.append(&mut next.jobs);
            all.gain += next.gain;
            all.minutes += next.minutes - next.way_minutes;
            all
        })
    }

    /// Worth most a minute first; of equals the one with the least id.
    pub(super) fn before(one: &Visit, other: &Visit) -> Ordering {
        let least = |visit: &Visit| visit.jobs.iter().min().cloned();
        // In fewer digits, so that what differs by rounding is equal. No minutes at all are infinitely good.
        let rate = |visit: &Visit| (visit.gain / visit.minutes) as f32;
        (rate(other).total_cmp(&rate(one))).then_with(|| least(one).cmp(&least(other)))
    }
}

/// The visit that does these tasks, without those that make nothing better; `None` without any.
pub(super) fn visit(
    yard: &Yard,
    mut tasks: Vec<usize>,
    share: u64,
    work: &mut Work,
) -> Result<Option<Visit>, TooMuch> {
    tasks.sort_unstable();
    let changes = Changes::among(yard, &tasks, share, work)?;
    drop_idle(yard, &changes, &mut tasks, work)?;
    if tasks.is_empty() {
        return Ok(None);
    }
    let pace = match changes {
        Changes::Slopes => Pace::of(yard, &tasks, share),
        Changes::Table { .. } => Pace {
            size: BUNDLE_MAX,
            ..SINGLE
        },
    };
    let jobs = in_order(yard, &changes, &tasks, pace, work)?;
    let minutes: f64 = tasks.iter().map(|task| yard.tasks[*task].minutes).sum();
    let has = flags(yard, &tasks);
    Ok(Some(Visit {
        jobs: jobs
            .into_iter()
            .map(|task| yard.tasks[task].id.clone())
            .collect(),
        gain: yard.weight * (yard.chance(|task| has[task]) - yard.chance(|_| false)),
        minutes: yard.travel_minutes + minutes,
        way_minutes: yard.travel_minutes,
    }))
}

fn flags(yard: &Yard, tasks: &[usize]) -> Vec<bool> {
    let mut flags = vec![false; yard.tasks.len()];
    for task in tasks {
        flags[*task] = true;
    }
    flags
}

/// Takes off, one after another, the longest task without which the depot's chance is the same.
fn drop_idle(
    yard: &Yard,
    changes: &Changes,
    tasks: &mut Vec<usize>,
    work: &mut Work,
) -> Result<(), TooMuch> {
    // What is done for a machine that cannot work all the same is done for nothing.
    let has = flags(yard, tasks);
    tasks.retain(|task| {
        let machine = &yard.machines[yard.tasks[*task].machine];
        yard.works(machine, |task| has[task]) > 0.0
    });
    while !tasks.is_empty() {
        let has = flags(yard, tasks);
        let mut idle: Option<usize> = None;
        changes.bundles(yard, &has, &has, 1, work, |bundle, change, _| {
            let longer = |known: usize| {
                let (one, other) = (&yard.tasks[bundle[0]], &yard.tasks[known]);
                (one.ticks, one.id) > (other.ticks, other.id)
            };
            if change >= -SAME && idle.is_none_or(longer) {
                idle = Some(bundle[0]);
            }
        })?;
        match idle {
            Some(idle) => tasks.retain(|task| *task != idle),
            None => break,
        }
    }
    Ok(())
}

/// Bundle by bundle, and task by task in each.
fn in_order(
    yard: &Yard,
    changes: &Changes,
    tasks: &[usize],
    pace: Pace,
    work: &mut Work,
) -> Result<Vec<usize>, TooMuch> {
    let mut order = Vec::new();
    let mut done = vec![false; yard.tasks.len()];
    while order.len() < tasks.len() {
        let best = |tasks: &[usize], pace: Pace, work: &mut Work| {
            let may = flags(yard, tasks);
            paths::best(
                yard,
                changes,
                &done,
                &may,
                pace,
                0,
                |pick| pick.change > SAME,
                work,
            )
        };
        let by_id = |mut tasks: Vec<usize>| {
            tasks.sort_by_key(|task| yard.tasks[*task].id);
            tasks
        };
        let rest: Vec<usize> = tasks.iter().copied().filter(|task| !done[*task]).collect();
        let mut next = best(&rest, pace, work)?;
        if next.is_empty() {
            next = by_id(rest);
        } else if pace.size > 1 && next.len() > 1 {
            let first = best(&next, SINGLE, work)?;
            next = if first.is_empty() { by_id(next) } else { first };
        }
        for task in next {
            done[task] = true;
            order.push(task);
        }
    }
    Ok(order)
}
