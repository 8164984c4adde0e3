//! The labour: what minutes there are, and by when each machine can be ready.

use std::collections::BTreeMap;

use uuid::Uuid;

use super::lines::{Spot, Stands};
use super::order::{All, SHOWN_MAX};
use super::parts::Fitted;
use super::shown::{DepotToFix, TimeFrom, UnitToFix, WorkToFix};
use super::{DepotWork, Place, words};
use crate::plan::ready::{Labour, Queued, Ready};

impl Place {
    fn labour(&self, depot: &DepotWork) -> Labour<'_> {
        Labour {
            hours: &self.hours,
            travel_minutes: self.travel_minutes,
            today: depot.today,
            season_starts: depot.until,
        }
    }

    /// What the technicians have left; none where no hours are entered.
    fn left(&self, depot: &DepotWork) -> Option<f64> {
        (!self.hours.is_empty()).then(|| self.labour(depot).load(&[]).left_minutes)
    }
}

impl All<'_> {
    /// The minutes there are: those asked for, else those of the technicians, else what everything takes.
    pub(super) fn minutes(
        &self,
        asked: Option<f64>,
        fitted: &BTreeMap<Spot, Fitted>,
    ) -> (f64, TimeFrom) {
        if let Some(minutes) = asked {
            return (minutes, TimeFrom::Asked);
        }
        let left: Vec<f64> = (self.depots.iter())
            .filter_map(|depot| self.place(depot).left(depot))
            .collect();
        if !left.is_empty() {
            return (left.iter().sum(), TimeFrom::Technicians);
        }
        let units = self.depots.iter().flat_map(|depot| &depot.units);
        let jobs = units.flat_map(|unit| &unit.jobs).map(|job| job.minutes);
        let ways = self.depots.iter();
        let ways = ways.map(|depot| self.place(depot).travel_minutes);
        let fetched = fitted.values().map(|fitted| fitted.fetch_minutes);
        let all: f64 = jobs.chain(ways).chain(fetched).sum();
        (all.ceil(), TimeFrom::NotLimited)
    }

    /// The depots, and their machines with the days on which they can be ready as the jobs are done in this order.
    pub(super) fn places(
        &self,
        queue: &[Spot],
        fitted: &BTreeMap<Spot, Fitted>,
        stands: &Stands<'_>,
    ) -> (Vec<DepotToFix>, Vec<UnitToFix>) {
        let (mut depots, mut units) = (Vec::new(), Vec::new());
        for (index, depot) in self.depots.iter().enumerate() {
            let own = queue.iter().filter(|spot| spot.depot == index);
            let queue = own.map(|spot| {
                let unit = self.unit(*spot);
                let job = &unit.jobs[spot.job];
                // What changes no chance has no say in when its machine is ready.
                let matters = job.after > job.now;
                Queued {
                    unit: if matters { unit.id } else { Uuid::nil() },
                    minutes: job.minutes + fitted[spot].fetch_minutes,
                    parts_on: fitted[spot].on,
                }
            });
            let queue: Vec<Queued> = queue.collect();
            units.extend(self.units(depot, &queue));
            let works = (self.lines.iter().enumerate())
                .filter(|(_, line)| line.depot == index)
                .map(|(place, line)| WorkToFix {
                    work: line.work.work,
                    narrowest_width_mm: line.work.narrowest_width_mm,
                    chance_now: stands.before[place],
                    chance_after: stands.now[place],
                });
            let works: Vec<WorkToFix> = works.collect();
            let place = self.place(depot);
            let left_minutes = place.left(depot);
            let open_minutes = place.labour(depot).load(&queue).open_minutes;
            depots.push(DepotToFix {
                depot_id: depot.depot_id,
                name: depot.name.clone(),
                storm: depot.storm.clone(),
                until: depot.until,
                score: depot.score,
                because: words::depot(depot, &works, open_minutes, left_minutes),
                works,
                travel_minutes: place.travel_minutes,
                open_minutes,
                left_minutes,
            });
        }
        units.truncate(SHOWN_MAX);
        (depots, units)
    }

    fn units(&self, depot: &DepotWork, queue: &[Queued]) -> Vec<UnitToFix> {
        let ready = self.place(depot).labour(depot).ready(queue);
        let ready: BTreeMap<Uuid, &Ready> = ready.iter().map(|ready| (ready.unit, ready)).collect();
        let units = depot.units.iter().filter(|unit| !unit.jobs.is_empty());
        let told = units.map(|unit| {
            let ready = ready.get(&unit.id);
            UnitToFix {
                unit_id: unit.id,
                tag: unit.tag.clone(),
                depot_id: depot.depot_id,
                chance_now: unit.chance(|_| false),
                chance_after: unit.chance(|_| true),
                parts_on: ready.map_or(Some(depot.today), |ready| ready.parts_on),
                ready_on: ready.map_or(Some(depot.today), |ready| ready.ready_on),
                in_time: ready.is_none_or(|ready| ready.before_season),
                remains: unit.remains.clone(),
            }
        });
        told.collect()
    }
}
