//! The order: the plan is asked once as if all parts were there, the parts are given out along that, and it is asked again
//! for what can be done in time.

use std::collections::{BTreeMap, BTreeSet};

use super::lines::{Line, Spot, Stands, lines};
use super::parts::{Fitted, Shelves};
use super::shown::{FixFirst, JobToDo};
use super::words::{self, Told};
use super::{DepotWork, Place, Supply, UnitWork};
use crate::Invalid;
use crate::calculations::plan;
use crate::plan::JobId;

/// Jobs that are answered at most.
pub(super) const SHOWN_MAX: usize = 1_000;

/// What to fix first at these depots in so many minutes; else in those that their technicians have left.
///
/// # Errors
/// `depots`, where they are too many to be planned at once.
pub fn fix_first(
    mut depots: Vec<DepotWork>,
    supply: &Supply,
    minutes: Option<f64>,
) -> Result<FixFirst, Invalid> {
    depots.sort_by_key(|depot| depot.depot_id);
    let everything = All {
        lines: lines(&depots),
        depots: &depots,
        supply,
    };
    everything.answer(minutes)
}

/// What is planned for.
pub(super) struct All<'a> {
    pub(super) depots: &'a [DepotWork],
    pub(super) lines: Vec<Line<'a>>,
    pub(super) supply: &'a Supply,
}

/// The plan's answer.
struct Planned {
    order: Vec<Spot>,
    minutes_used: f64,
    gain: f64,
}

impl All<'_> {
    fn answer(&self, asked: Option<f64>) -> Result<FixFirst, Invalid> {
        let spots = self.spots();
        let nothing = BTreeMap::new();
        let (minutes, _) = self.minutes(asked, &nothing);
        let wished = self.planned(&self.input(minutes, &nothing, |_| true), &spots)?;
        let fitted = self.fitted(&wished.order, &spots);
        let (minutes, minutes_from) = self.minutes(asked, &fitted);
        let inputs = self.input(minutes, &fitted, |spot| fitted[&spot].in_time);
        let planned = self.planned(&inputs, &spots)?;
        let behind = self.behind(&planned.order, &spots, &fitted);

        let mut stands = Stands::new(self.depots, &self.lines);
        let (told, cut) = planned.order.split_at(planned.order.len().min(SHOWN_MAX));
        let mut first = Vec::with_capacity(told.len());
        for spot in told {
            let mut job = self.job(*spot, &fitted[spot]);
            if let Some(raise) = stands.raise(*spot) {
                job.because = words::first(&self.told(*spot, &fitted[spot]), &raise);
                job.keeps_up_before = Some(raise.before);
                job.keeps_up_after = Some(raise.after);
                stands.is_done(*spot, &raise);
            }
            first.push(job);
        }
        if !cut.is_empty() {
            stands.are_done(cut);
        }
        let slopes = stands.slopes();
        let shown = SHOWN_MAX.saturating_sub(first.len()).min(behind.len());
        let others = behind[..shown].iter().map(|spot| {
            let told = self.told(*spot, &fitted[spot]);
            JobToDo {
                because: words::behind(&told, stands.raise_by(&slopes, *spot).as_ref()),
                ..self.job(*spot, &fitted[spot])
            }
        });
        let others: Vec<JobToDo> = others.collect();
        let unseen: usize = self.depots.iter().map(|depot| depot.left_out).sum();
        let queue: Vec<Spot> = planned.order.iter().chain(&behind).copied().collect();
        let (depots, units) = self.places(&queue, &fitted, &stands);
        Ok(FixFirst {
            depots,
            minutes,
            minutes_from,
            minutes_used: planned.minutes_used,
            gain: planned.gain,
            first,
            behind: others,
            left_out: unseen + behind.len() - shown + cut.len(),
            units,
            inputs,
        })
    }

    fn depot(&self, spot: Spot) -> &DepotWork {
        &self.depots[spot.depot]
    }

    pub(super) fn unit(&self, spot: Spot) -> &UnitWork {
        &self.depot(spot).units[spot.unit]
    }

    pub(super) fn place(&self, depot: &DepotWork) -> Place {
        let place = self.supply.places.get(&depot.depot_id);
        place.cloned().unwrap_or_default()
    }

    /// Every job, by id.
    fn spots(&self) -> BTreeMap<&str, Spot> {
        let mut spots = BTreeMap::new();
        for (depot, of_depot) in self.depots.iter().enumerate() {
            for (unit, of_unit) in of_depot.units.iter().enumerate() {
                for (job, one) in of_unit.jobs.iter().enumerate() {
                    spots.insert(one.id.as_str(), Spot { depot, unit, job });
                }
            }
        }
        spots
    }

    /// What the plan is asked.
    fn input(
        &self,
        minutes: f64,
        fitted: &BTreeMap<Spot, Fitted>,
        in_time: impl Fn(Spot) -> bool,
    ) -> plan::Input {
        let unit = |depot: usize, unit: usize, rate: f64| {
            let work = &self.depots[depot].units[unit];
            let mut rest = work.rest;
            let mut jobs = Vec::new();
            for (job, one) in work.jobs.iter().enumerate() {
                let spot = Spot { depot, unit, job };
                if one.after > one.now && rest > 0.0 && in_time(spot) {
                    let fetch = fitted.get(&spot).map_or(0.0, |fitted| fitted.fetch_minutes);
                    jobs.push(plan::JobInput {
                        id: JobId::Text(one.id.clone()),
                        minutes: one.minutes + fetch,
                        now: one.now,
                        after: one.after,
                    });
                } else {
                    rest *= one.now;
                }
            }
            plan::UnitInput { rest, rate, jobs }
        };
        let depots = self.lines.iter().map(|line| {
            let depot = &self.depots[line.depot];
            let units = line.units.iter();
            plan::DepotInput {
                needed_rate: line.work.needed_rate,
                operators: line.work.operators.map(f64::from),
                weight: 1.0,
                travel_minutes: self.place(depot).travel_minutes,
                // One visit serves all kinds of work there.
                place: Some(depot.depot_id.to_string()),
                units: units
                    .map(|(place, rate)| unit(line.depot, *place, *rate))
                    .collect(),
            }
        });
        plan::Input {
            depots: depots.collect(),
            minutes,
        }
    }

    fn planned(
        &self,
        input: &plan::Input,
        spots: &BTreeMap<&str, Spot>,
    ) -> Result<Planned, Invalid> {
        let planned =
            plan::calculate(input).map_err(|fault| Invalid::new("depots", fault.problem))?;
        let order = planned.jobs.iter().filter_map(|id| match id {
            JobId::Text(id) => spots.get(id.as_str()).copied(),
            JobId::Number(_) => None,
        });
        Ok(Planned {
            order: order.collect(),
            minutes_used: planned.minutes_used,
            gain: planned.gain,
        })
    }

    /// The parts of all jobs: given to those of the order first, then to what changes a chance.
    fn fitted(&self, order: &[Spot], spots: &BTreeMap<&str, Spot>) -> BTreeMap<Spot, Fitted> {
        let Some(today) = self.depots.iter().map(|depot| depot.today).min() else {
            return BTreeMap::new();
        };
        let mut shelves = Shelves::new(self.supply, today);
        let mut rest = others(order, spots);
        rest.sort_by_key(|spot| {
            let job = &self.unit(*spot).jobs[spot.job];
            (job.after <= job.now, *spot)
        });
        let mut fitted = BTreeMap::new();
        for spot in order.iter().copied().chain(rest) {
            let unit = self.unit(spot);
            let taken = shelves.take(self.depot(spot), unit.id, &unit.jobs[spot.job]);
            fitted.insert(spot, taken);
        }
        fitted
    }

    /// All that the order leaves out: safety first, then what changes a chance, then by when its parts are there.
    fn behind(
        &self,
        order: &[Spot],
        spots: &BTreeMap<&str, Spot>,
        fitted: &BTreeMap<Spot, Fitted>,
    ) -> Vec<Spot> {
        let mut behind = others(order, spots);
        behind.sort_by_key(|spot| {
            let job = &self.unit(*spot).jobs[spot.job];
            let on = fitted[spot].on;
            let changes_nothing = job.after <= job.now;
            (!job.draft.safety, changes_nothing, on.is_none(), on, *spot)
        });
        behind
    }

    fn told<'s>(&'s self, spot: Spot, fitted: &'s Fitted) -> Told<'s> {
        Told {
            depot: self.depot(spot),
            unit: self.unit(spot),
            place: spot.job,
            fitted,
            supply: self.supply,
        }
    }

    fn job(&self, spot: Spot, fitted: &Fitted) -> JobToDo {
        let unit = self.unit(spot);
        let job = &unit.jobs[spot.job];
        let draft = &job.draft;
        JobToDo {
            id: job.id.clone(),
            unit_id: unit.id,
            tag: unit.tag.clone(),
            depot_id: self.depot(spot).depot_id,
            kind: draft.kind,
            title: draft.title.clone(),
            safety: draft.safety,
            minutes: job.minutes + fitted.fetch_minutes,
            fetch_minutes: fitted.fetch_minutes,
            minutes_from: draft.minutes_from,
            parts: fitted.parts.clone(),
            parts_on: fitted.on,
            order_ids: draft.orders.clone(),
            finding_ids: draft.findings.clone(),
            tasks: draft.tasks.clone(),
            now: job.now,
            after: job.after,
            keeps_up_before: None,
            keeps_up_after: None,
            because: String::new(),
        }
    }
}

/// Those that are not in the order.
fn others(order: &[Spot], spots: &BTreeMap<&str, Spot>) -> Vec<Spot> {
    let planned: BTreeSet<&Spot> = order.iter().collect();
    let all = spots.values().copied();
    all.filter(|spot| !planned.contains(spot)).collect()
}
