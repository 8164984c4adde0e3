//! What to fix first at real depots (section 11 of the computation), from their facts: [`crate::plan`] only knows figures.
//!
//! Depot by depot [`DepotWork::of`] gathers what there is to do for each machine (`gather`) and what that does to its chance
//! (`weigh`), and forgets the facts. [`fix_first`] then says where the parts are (`parts`), asks the plan (`order`), by when
//! machines can be ready (`labour`), and why (`words`).
//!
//! - A machine counts with the product of its factors once nothing bars it. Each factor goes to the one job that moves it most;
//!   what bars a machine (a hold, a stop, what is unproven) is a factor 0 of each job that must be done for it to count.
//! - An inspection is taken to find nothing, a proof start to start: what they find instead is a repair, known in time.
//! - What only makes a machine faster, or is owed and changes no chance, is behind all that does.
//! - Each kind of work is a line of the plan of its own (`lines`), at the width at which these jobs can bring most; one visit of
//!   a depot serves all of them. The doubt about starts that machines share is left out.
//! - A job is planned for if its parts can be there in time; of a part that is on no list nobody knows, so somebody goes to
//!   see. Parts go to jobs in the order that the plan would have if all parts were there. Each job fetches its own, and bears
//!   the way to the other depot alone: so the plan holds whichever of two is left out, and takes less where one trip serves both.
//! - Several depots' minutes are shared out as if everybody went everywhere, for that is what is asked; by when a machine can be
//!   ready goes by the hours that are entered for its depot.

use std::collections::BTreeMap;

use jiff::civil::Date;
use jiff::{Timestamp, ToSpan};
use uuid::Uuid;

use crate::Invalid;
use crate::buy::{Catalogue, ShelfLot};
use crate::depot::{Evaluation, WorkInputs, clocks_of, evaluate_for, storm_hours};
use crate::facts::DepotFacts;
use crate::plan::ready::Hours;
use crate::sheet::Sheet;
use crate::storm::{Storm, StormName};
use crate::unit::{Shared, model};

mod done;
mod gather;
mod job;
mod labour;
mod lines;
mod order;
mod parts;
mod proof;
mod shown;
#[cfg(test)]
mod tests;
mod weigh;
mod words;

pub use job::{JobKind, MinutesFrom};
pub use order::fix_first;
pub use shown::{DepotToFix, FixFirst, JobToDo, PartAt, PartToFit, TimeFrom, UnitToFix, WorkToFix};

use job::Job;

/// Where no storm is ahead and the season runs, one may come any day: what can be done in a week is looked at.
const DAYS_WITHOUT_A_STORM: i32 = 7;

/// A line of a work order that is neither closed nor dropped; those taken off are left out.
#[derive(Debug, Clone, PartialEq)]
pub struct OpenLine {
    /// The line.
    pub id: Uuid,
    /// Its order.
    pub order_id: Uuid,
    /// The unit.
    pub unit_id: Uuid,
    /// What to do.
    pub title: String,
    /// Labour planned, minutes.
    pub minutes: Option<f64>,
    /// The finding it puts right.
    pub finding_id: Option<Uuid>,
    /// The task of the sheet it does.
    pub task: Option<String>,
    /// The part of the sheet it renews.
    pub part: Option<String>,
    /// What it takes from the shelf, in the sheet's words.
    pub takes: Vec<String>,
    /// Parts of the list that its order needs, used ones too.
    pub needed: Vec<Uuid>,
    /// Whether it is done.
    pub done: bool,
}

/// What is to be met; else what a depot's readiness is about.
#[derive(Debug, Clone, Copy, Default)]
pub struct Meets {
    /// That storm, in progress or to come.
    pub storm_id: Option<Uuid>,
    /// The first day on which work comes too late.
    pub until: Option<Date>,
}

/// A depot, as what is to be fixed there asks.
#[derive(Debug, Clone)]
pub struct DepotWork {
    depot_id: Uuid,
    name: String,
    storm: StormName,
    today: Date,
    until: Date,
    score: Option<f64>,
    works: Vec<WorkInputs>,
    units: Vec<UnitWork>,
    /// How many of a part open orders of a unit still want.
    wanted: BTreeMap<(Uuid, Uuid), i64>,
    /// Jobs that were too many to look at.
    left_out: usize,
}

/// A machine, and what is to be done for it.
#[derive(Debug, Clone)]
struct UnitWork {
    id: Uuid,
    tag: String,
    /// The part of its chance that no job changes.
    rest: f64,
    /// What keeps it from counting whatever is done.
    remains: Option<String>,
    jobs: Vec<Job>,
}

impl UnitWork {
    /// Its chance with these of its jobs done.
    fn chance(&self, done: impl Fn(usize) -> bool) -> f64 {
        let factors = self.jobs.iter().enumerate();
        let factors = factors.map(|(place, job)| if done(place) { job.after } else { job.now });
        self.rest * factors.product::<f64>()
    }
}

/// What the depots share.
#[derive(Debug, Clone, Default)]
pub struct Supply {
    /// The parts of the list that the jobs' words name.
    pub catalogue: Catalogue,
    /// What is on all the shelves that the reader may see.
    pub lots: Vec<ShelfLot>,
    /// Those depots.
    pub places: BTreeMap<Uuid, Place>,
}

/// A depot by its name, its way and its people.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Place {
    /// Its name.
    pub name: String,
    /// Minutes there and back.
    pub travel_minutes: f64,
    /// Its technicians' hours.
    pub hours: Vec<Hours>,
}

/// Every word by which a sheet names what its jobs and tasks take.
pub fn words(sheet: &Sheet) -> impl Iterator<Item = &String> {
    let of_parts = sheet.parts.iter().filter_map(|part| part.job.as_ref());
    let of_checks = sheet.checks.iter().filter_map(|check| check.job.as_ref());
    let jobs = of_parts.chain(of_checks).flat_map(|job| &job.parts);
    jobs.chain(sheet.tasks.iter().flat_map(|task| &task.parts))
}

impl DepotWork {
    /// What there is to do at a depot, as it stands at `as_of`; none where the storm asked for is not one of its.
    ///
    /// # Errors
    /// An `until` that is not to come.
    pub fn of(
        facts: &DepotFacts,
        lines: &[OpenLine],
        meets: Meets,
        as_of: Timestamp,
    ) -> Result<Option<Self>, Invalid> {
        let shared = match meets.storm_id {
            None => Shared::of(facts, as_of),
            Some(id) => match Storm::with_id(facts, id, as_of) {
                Some(storm) => Shared::meeting(storm, facts, as_of),
                None => return Ok(None),
            },
        };
        let until = until(meets, &shared)?;
        let Evaluation { depot, units, .. } = evaluate_for(&shared, None);
        let clocks = clocks_of(&facts.units, &shared);
        let models = model::models(&shared, &clocks);
        let hours = storm_hours(&shared);
        let mut left_out = 0;
        let mut works = Vec::with_capacity(units.len());
        for (index, state) in units.iter().enumerate() {
            let unit = &facts.units[index];
            let (Some(clock), Some(model)) = (&clocks[index], models.get(&unit.model)) else {
                works.push(UnitWork {
                    id: unit.id,
                    tag: unit.tag.clone(),
                    rest: 0.0,
                    remains: state.inputs.stopped.first().cloned(),
                    jobs: Vec::new(),
                });
                continue;
            };
            let of_unit = weigh::OfUnit {
                shared: &shared,
                unit,
                clock,
                model,
                storm_hours: hours[index],
                state,
            };
            let own = lines.iter().filter(|line| line.unit_id == unit.id);
            let mut drafts = gather::drafts(&of_unit, own);
            left_out += drafts.len().saturating_sub(gather::JOBS_MAX);
            drafts.truncate(gather::JOBS_MAX);
            works.push(weigh::weigh(&of_unit, drafts));
        }
        let wanted = facts.wanted.iter().flat_map(|part| {
            let by_unit = part.by_unit.iter();
            by_unit.map(|(unit, quantity)| ((*unit, part.part_id), *quantity))
        });
        Ok(Some(DepotWork {
            depot_id: facts.id,
            name: facts.name.clone(),
            storm: shared.storm.named(),
            today: shared.today,
            until,
            score: depot.document.score,
            works: depot.inputs.works,
            units: works,
            wanted: wanted.collect(),
            left_out,
        }))
    }
}

/// The first day on which work comes too late: the one asked for, else the storm's, else the season's first, else a week from
/// now. Today counts in full.
fn until(meets: Meets, shared: &Shared<'_>) -> Result<Date, Invalid> {
    let tomorrow = in_days(shared.today, 1);
    if let Some(until) = meets.until {
        let problem = format!(
            "must be a day after today, at {} {tomorrow} or later",
            shared.facts.name
        );
        return if until < tomorrow {
            Err(Invalid::new("until", problem))
        } else {
            Ok(until)
        };
    }
    let season = shared.snow_days.this_season.starts;
    let until = match shared.storm.starts_at {
        Some(at) => shared.facts.zone.to_datetime(at).date(),
        None if shared.today < season => season,
        None => in_days(shared.today, DAYS_WITHOUT_A_STORM),
    };
    Ok(until.max(tomorrow))
}

fn in_days(day: Date, days: i32) -> Date {
    day.checked_add(days.days()).unwrap_or(Date::MAX)
}
