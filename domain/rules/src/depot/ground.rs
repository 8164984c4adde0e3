//! A depot's ground by kind of work and width: who passes where, what it asks for, who drives.
//!
//! Ground to spread is counted by the kilograms it asks for, all other by its area; else they are computed alike.

use super::works::WorkOf;
use crate::demand::{DutyDemand, needed_rate};
use crate::facts::Duty;
use crate::sheet::Work;
use crate::unit::Shared;

/// Every kind of work that has duties, the narrow ones first.
pub fn works<'a>(shared: &'a Shared<'a>) -> Vec<WorkOf<'a>> {
    let duties = shared.facts.duties.iter();
    let mut kinds: Vec<Work> = duties
        .filter(|duty| duty.area_m2 > 0.0)
        .map(|duty| duty.work)
        .collect();
    kinds.sort_unstable();
    kinds.dedup();
    kinds
        .into_iter()
        .flat_map(|kind| works_of(shared, kind))
        .collect()
}

fn works_of<'a>(shared: &'a Shared<'a>, kind: Work) -> Vec<WorkOf<'a>> {
    let (facts, storm) = (shared.facts, &shared.storm);
    let duties: Vec<&Duty> = facts
        .duties
        .iter()
        .filter(|duty| duty.work == kind && duty.area_m2 > 0.0)
        .collect();
    let mut widths: Vec<f64> = duties.iter().map(|duty| width_of(duty)).collect();
    widths.sort_unstable_by(f64::total_cmp);
    widths.dedup();
    let mut works: Vec<WorkOf<'a>> = Vec::new();
    let mut narrower = f64::NEG_INFINITY;
    let mut ground: Vec<DutyDemand> = Vec::new();
    for (place, width) in widths.iter().enumerate() {
        let own = duties.iter().filter(|duty| width_of(duty) == *width);
        ground.extend(own.map(|duty| DutyDemand {
            amount: duty.amount(),
            clear_within_h: duty.clear_within_h.max(0.01),
        }));
        let members = fitting(shared, kind, *width);
        let wider = widths.get(place + 1);
        if wider.is_some_and(|wider| fitting(shared, kind, *wider) == members) {
            // It bars none of the machines of the wider ground: it is a part of that.
            continue;
        }
        let demand = needed_rate(storm.hours, storm.depth_mm, storm.reclear_mm, &ground);
        let cycles = demand.cycles;
        let mut work = WorkOf {
            work: kind,
            narrowest_width_mm: width.is_finite().then_some(*width),
            operators: operators(shared, kind, narrower, *width),
            members,
            needed_rate: demand.needed_rate,
            cycles,
            storm_hours: 0.0,
            amount: ground.iter().map(|duty| duty.amount).sum(),
            last_cycle_after_h: storm.hours * f64::from(cycles.saturating_sub(1))
                / f64::from(cycles.max(1)),
            longest_h: ground
                .iter()
                .map(|duty| duty.clear_within_h)
                .fold(0.0, f64::max),
            shared,
        };
        if let Some(narrow) = works.last() {
            work.needed_rate += narrow.needed_rate + work.lost_to(narrow);
            work.amount += narrow.amount;
            work.longest_h = work.longest_h.max(narrow.longest_h);
        }
        work.storm_hours = work.running_hours();
        works.push(work);
        ground.clear();
        narrower = *width;
    }
    works
}

/// The widest machine that passes a duty's places, mm.
fn width_of(duty: &Duty) -> f64 {
    duty.narrowest_width_mm.unwrap_or(f64::INFINITY)
}

/// The machines rigged for a kind of work that pass places `width` wide, by place in the facts.
fn fitting(shared: &Shared<'_>, kind: Work, width: f64) -> Vec<usize> {
    let units = shared.facts.units.iter().enumerate();
    let fits = |model| {
        let sheet = shared.facts.sheets.get(model);
        sheet.is_some_and(|sheet| sheet.rate_for(kind).width_mm.value <= width)
    };
    units
        .filter(|(_, unit)| unit.rigging == kind && fits(&unit.model))
        .map(|(index, _)| index)
        .collect()
}

/// Operators for ground over `narrower` and up to `width` wide, and all that is narrower: where none are entered for just
/// that, those of the next wider ground clear it too; with none there either there is no limit.
fn operators(shared: &Shared<'_>, kind: Work, narrower: f64, width: f64) -> Option<u32> {
    let entered: Vec<(f64, u32)> = shared
        .facts
        .operators
        .iter()
        .filter(|entry| entry.work == kind)
        .map(|entry| {
            (
                entry.narrowest_width_mm.unwrap_or(f64::INFINITY),
                entry.per_shift,
            )
        })
        .collect();
    let up_to = if entered.iter().any(|(of, _)| *of > narrower && *of <= width) {
        width
    } else {
        let wider = entered.iter().map(|entry| entry.0).filter(|of| *of > width);
        wider.min_by(f64::total_cmp)?
    };
    let counted = entered.iter().filter(|(of, _)| *of <= up_to);
    Some(counted.fold(0, |sum: u32, entry| sum.saturating_add(entry.1)))
}
