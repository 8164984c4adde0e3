//! A depot as the plan looks at it: the machines that may work at all, and the jobs that may be worth their minutes.

use std::ops::Range;

use super::work::{TooMuch, Work};
use super::{Depot, JobId, SAME, Ticks, Unit, spent};
use crate::score::{Lattice, met};

/// A depot that some job may make better.
pub(super) struct Yard<'a> {
    pub(super) lattice: Lattice,
    pub(super) weight: f64,
    pub(super) travel: Ticks,
    pub(super) travel_minutes: f64,
    pub(super) place: Option<&'a str>,
    /// Fastest first.
    pub(super) machines: Vec<Machine>,
    /// How many machines with tasks there are of each rate.
    pub(super) kinds: Vec<usize>,
    /// The most tasks that a machine has: what its chance costs to work out.
    pub(super) longest: usize,
    /// Machine by machine.
    pub(super) tasks: Vec<Task<'a>>,
}

/// A machine that may work.
pub(super) struct Machine {
    /// What the lattice calls its rate.
    pub(super) kind: usize,
    /// The part of its chance that no task changes, over 0.
    pub(super) rest: f64,
    /// Its tasks, by place in the yard's.
    pub(super) tasks: Range<usize>,
}

/// A job that makes its machine likelier to work and fits into the minutes.
pub(super) struct Task<'a> {
    pub(super) id: &'a JobId,
    pub(super) machine: usize,
    pub(super) ticks: Ticks,
    pub(super) minutes: f64,
    pub(super) now: f64,
    pub(super) after: f64,
}

impl<'a> Yard<'a> {
    /// `None` where no job makes anything better within `at_hand`.
    pub(super) fn new(
        depot: &'a Depot,
        at_hand: Ticks,
        work: &mut Work,
    ) -> Result<Option<Self>, TooMuch> {
        let travel = spent(depot.travel_minutes);
        let fits = |ticks: Ticks| travel.saturating_add(ticks) <= at_hand;
        let mut units: Vec<(&Unit, f64, Vec<Task<'a>>)> = depot
            .units
            .iter()
            .map(|unit| tasks_of(unit, fits))
            .filter(|(unit, rest, _)| unit.rate > 0.0 && *rest > 0.0)
            .collect();
        let has_tasks = |(_, _, tasks): &(&Unit, f64, Vec<Task>)| !tasks.is_empty();
        if depot.weight <= 0.0 || depot.needed_rate <= 0.0 || !units.iter().any(has_tasks) {
            return Ok(None);
        }
        let rates: Vec<f64> = units.iter().map(|(unit, ..)| unit.rate).collect();
        let lattice = Lattice::new(&rates, depot.needed_rate, depot.operators);
        work.spend(4 * units.len() as u64 * lattice.states() as u64)?;
        // Fastest first, as the lattice may ask; beyond that so that it is the same whatever the order of what is given.
        units.sort_by(|one, other| {
            let first = |tasks: &[Task<'a>]| tasks.first().map(|task| task.id);
            (other.0.rate.total_cmp(&one.0.rate))
                .then_with(|| one.1.total_cmp(&other.1))
                .then_with(|| first(&one.2).cmp(&first(&other.2)))
        });
        let mut machines = Vec::with_capacity(units.len());
        let mut tasks = Vec::new();
        for (unit, rest, mut of_unit) in units {
            for task in &mut of_unit {
                task.machine = machines.len();
            }
            let from = tasks.len();
            tasks.append(&mut of_unit);
            machines.push(Machine {
                kind: lattice.kind(unit.rate),
                rest,
                tasks: from..tasks.len(),
            });
        }
        let kinds = (machines.chunk_by(|one: &Machine, other: &Machine| one.kind == other.kind))
            .map(|alike| {
                alike
                    .iter()
                    .filter(|machine| !machine.tasks.is_empty())
                    .count()
            })
            .collect();
        let longest = machines.iter().map(|machine| machine.tasks.len()).max();
        let yard = Yard {
            kinds,
            longest: longest.unwrap_or(0),
            lattice,
            weight: depot.weight,
            travel,
            travel_minutes: depot.travel_minutes,
            place: depot.place.as_deref(),
            machines,
            tasks,
        };
        let better = yard.chance(|_| true) - yard.chance(|_| false);
        Ok((better > SAME).then_some(yard))
    }

    /// The chance that a machine works with these tasks done.
    pub(super) fn works(&self, machine: &Machine, done: impl Fn(usize) -> bool) -> f64 {
        let factor = |place: usize| {
            let task = &self.tasks[place];
            if done(place) { task.after } else { task.now }
        };
        machine.rest * machine.tasks.clone().map(factor).product::<f64>()
    }

    /// The depot's chance with these tasks done.
    pub(super) fn chance(&self, done: impl Fn(usize) -> bool) -> f64 {
        let mut law = self.lattice.start();
        for machine in &self.machines {
            self.lattice
                .forward(&mut law, machine.kind, self.works(machine, &done));
        }
        met(&law, &self.lattice.end())
    }

    /// The least id of its jobs.
    pub(super) fn first_id(&self) -> &'a JobId {
        let ids = self.tasks.iter().map(|task| task.id);
        ids.min().expect("a yard has tasks")
    }

    /// The ids of these tasks, rising: what decides between equals.
    pub(super) fn ids(&self, tasks: impl Iterator<Item = usize>) -> Vec<&'a JobId> {
        let mut ids: Vec<_> = tasks.map(|task| self.tasks[task].id).collect();
        ids.sort_unstable();
        ids
    }
}

/// A unit's useful tasks by id, and its chance but for them.
fn tasks_of<'a>(unit: &'a Unit, fits: impl Fn(Ticks) -> bool) -> (&'a Unit, f64, Vec<Task<'a>>) {
    let mut rest = unit.rest;
    let mut tasks = Vec::new();
    for job in &unit.jobs {
        let ticks = spent(job.minutes);
        if job.after > job.now && fits(ticks) {
            tasks.push(Task {
                id: &job.id,
                machine: 0,
                ticks,
                minutes: job.minutes,
                now: job.now,
                after: job.after,
            });
        } else {
            rest *= job.now;
        }
    }
    tasks.sort_by_key(|task| task.id);
    (unit, rest, tasks)
}
