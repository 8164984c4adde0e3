//! What jobs are worth: each kind of work at a depot is a line of the plan of its own.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::DepotWork;
use crate::depot::WorkInputs;
use crate::score::{Lattice, UnitChance, depot_score, met};
use crate::sheet::Work;

/// Less is nothing, as for the plan.
pub(super) const NOTHING: f64 = 1e-9;

/// A job by place: of the depots, of the depot's machines, of the machine's jobs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Spot {
    pub(super) depot: usize,
    pub(super) unit: usize,
    pub(super) job: usize,
}

/// A kind of work at a depot.
pub(super) struct Line<'a> {
    pub(super) depot: usize,
    pub(super) work: &'a WorkInputs,
    /// Its machines by place in the depot's, with their rates.
    pub(super) units: Vec<(usize, f64)>,
}

/// The lines of all depots: of each kind of work the width at which the jobs bring most, the widest of those alike.
pub(super) fn lines(depots: &[DepotWork]) -> Vec<Line<'_>> {
    let mut lines = Vec::new();
    for (place, depot) in depots.iter().enumerate() {
        let units: BTreeMap<Uuid, usize> = (depot.units.iter().enumerate())
            .map(|(place, unit)| (unit.id, place))
            .collect();
        let line = |work| Line::of(place, work, &units);
        let of_kind = |one: &WorkInputs, other: &WorkInputs| one.work == other.work;
        for widths in depot.works.chunk_by(of_kind) {
            let best = match widths {
                [only] => Some(line(only)),
                // Narrowest first; of several that are alike the last is taken.
                _ => (widths.iter().map(line))
                    .max_by(|one, other| one.gain(depot).total_cmp(&other.gain(depot))),
            };
            lines.extend(best);
        }
    }
    lines
}

impl<'a> Line<'a> {
    fn of(depot: usize, work: &'a WorkInputs, units: &BTreeMap<Uuid, usize>) -> Self {
        let members = work.units.iter();
        let known = members.filter_map(|one| Some((*units.get(&one.unit_id)?, one.rate)));
        Line {
            depot,
            work,
            units: known.collect(),
        }
    }

    /// The chance of keeping up with these jobs done, by machine and job.
    fn keeps_up(&self, depot: &DepotWork, done: impl Fn(usize, usize) -> bool) -> f64 {
        let units = self.units.iter().map(|(place, rate)| UnitChance {
            works: depot.units[*place].chance(|job| done(*place, job)),
            rate: *rate,
        });
        let units: Vec<UnitChance> = units.collect();
        depot_score(&units, self.work.needed_rate, self.work.operators).at_least
    }

    /// By how much the chance of keeping up rises with each machine's own, as [`Line::units`] has them. It is a line in each, so
    /// one way there and back through the machines says it of all of them, however many jobs there are.
    fn slopes(&self, depot: &DepotWork, done: impl Fn(usize, usize) -> bool) -> Vec<f64> {
        let mut slopes = vec![0.0; self.units.len()];
        if self.work.needed_rate <= 0.0 {
            return slopes;
        }
        let rates: Vec<f64> = self.units.iter().map(|(_, rate)| *rate).collect();
        let lattice = Lattice::new(&rates, self.work.needed_rate, self.work.operators);
        // Fastest first, as the lattice asks.
        let mut order: Vec<usize> = (0..rates.len()).collect();
        order.sort_by(|one, other| rates[*other].total_cmp(&rates[*one]));
        let machine = |index: &usize| {
            let (place, rate) = self.units[*index];
            let works = depot.units[place].chance(|job| done(place, job));
            (lattice.kind(rate), works)
        };
        let machines: Vec<(usize, f64)> = order.iter().map(machine).collect();
        // The law before each machine is kept for a few at a time only: those of a large depot would fill the memory.
        let few = machines.len().isqrt().max(1);
        let mut law = lattice.start();
        let mut before = Vec::new();
        for few in machines.chunks(few) {
            before.push(law.clone());
            for (kind, works) in few {
                lattice.forward(&mut law, *kind, *works);
            }
        }
        let mut value = lattice.end();
        let blocks = order.chunks(few).zip(machines.chunks(few)).zip(before);
        for ((places, machines), mut law) in blocks.rev() {
            let laws: Vec<Vec<f64>> = (machines.iter())
                .map(|(kind, works)| {
                    let before = law.clone();
                    lattice.forward(&mut law, *kind, *works);
                    before
                })
                .collect();
            for ((place, (kind, works)), law) in places.iter().zip(machines).zip(laws).rev() {
                slopes[*place] = met(&law, &lattice.rise(&value, *kind));
                lattice.backward(&mut value, *kind, *works);
            }
        }
        slopes
    }

    /// What all jobs together bring, in whole billionths: less is rounding.
    fn gain(&self, depot: &DepotWork) -> f64 {
        let gain = self.keeps_up(depot, |_, _| true) - self.keeps_up(depot, |_, _| false);
        (gain / NOTHING).round()
    }
}

/// Where the lines stand as job after job is done.
pub(super) struct Stands<'a> {
    depots: &'a [DepotWork],
    lines: &'a [Line<'a>],
    done: BTreeSet<Spot>,
    /// The chance of each line with nothing done, and as it stands.
    pub(super) before: Vec<f64>,
    pub(super) now: Vec<f64>,
}

/// What one more job does for the kind of work that its machine is for.
pub(super) struct Raise {
    line: usize,
    pub(super) work: Work,
    pub(super) before: f64,
    pub(super) after: f64,
}

impl Raise {
    pub(super) fn is_some(&self) -> bool {
        self.after - self.before > NOTHING
    }
}

impl<'a> Stands<'a> {
    pub(super) fn new(depots: &'a [DepotWork], lines: &'a [Line<'a>]) -> Self {
        let before = lines.iter();
        let before = before.map(|line| line.keeps_up(&depots[line.depot], |_, _| false));
        let before: Vec<f64> = before.collect();
        Stands {
            depots,
            lines,
            done: BTreeSet::new(),
            now: before.clone(),
            before,
        }
    }

    /// The line of a job's machine, and the machine's place in it; `None` where it is for no work.
    fn place(&self, spot: Spot) -> Option<(usize, usize)> {
        let own = self.lines.iter().enumerate();
        let mut own = own.filter(|(_, line)| line.depot == spot.depot);
        own.find_map(|(index, line)| {
            let mut units = line.units.iter();
            Some((index, units.position(|(unit, _)| *unit == spot.unit)?))
        })
    }

    /// Of this job, to be done next; `None` where its machine is for no work.
    pub(super) fn raise(&self, spot: Spot) -> Option<Raise> {
        let (line, _) = self.place(spot)?;
        let depot = spot.depot;
        let with = |unit, job| {
            let one = Spot { depot, unit, job };
            one == spot || self.done.contains(&one)
        };
        Some(Raise {
            line,
            work: self.lines[line].work.work,
            before: self.now[line],
            after: self.lines[line].keeps_up(&self.depots[depot], with),
        })
    }

    /// What each machine's chance is worth as the lines stand, line by line.
    pub(super) fn slopes(&self) -> Vec<Vec<f64>> {
        let slopes = self.lines.iter().map(|line| {
            let depot = line.depot;
            let done = |unit, job| self.done.contains(&Spot { depot, unit, job });
            line.slopes(&self.depots[depot], done)
        });
        slopes.collect()
    }

    /// The same as [`Stands::raise`], by these slopes: for many jobs of which none is done.
    pub(super) fn raise_by(&self, slopes: &[Vec<f64>], spot: Spot) -> Option<Raise> {
        let (line, place) = self.place(spot)?;
        let (depot, unit) = (spot.depot, spot.unit);
        let chance = |with: Option<usize>| {
            let done = |job| with == Some(job) || self.done.contains(&Spot { depot, unit, job });
            self.depots[depot].units[unit].chance(done)
        };
        let rise = chance(Some(spot.job)) - chance(None);
        Some(Raise {
            line,
            work: self.lines[line].work.work,
            before: self.now[line],
            // A slope of a rounded lattice may lead past certainty.
            after: (self.now[line] + slopes[line][place] * rise).min(1.0),
        })
    }

    /// All these are done, too.
    pub(super) fn are_done(&mut self, spots: &[Spot]) {
        self.done.extend(spots);
        for (line, now) in self.lines.iter().zip(&mut self.now) {
            let depot = line.depot;
            let done = |unit, job| self.done.contains(&Spot { depot, unit, job });
            *now = line.keeps_up(&self.depots[depot], done);
        }
    }

    /// It is done.
    pub(super) fn is_done(&mut self, spot: Spot, raise: &Raise) {
        self.done.insert(spot);
        self.now[raise.line] = raise.after;
    }
}
