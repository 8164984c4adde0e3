//! How well a unit's schedule was kept: of the tasks that fell due in a season, how many were done inside their window.
//!
//! The past is asked as the present is: each time a task was done, what was owed of it that day by what was done before?
//! Inside its window it was kept; past it, it was late. Before it the clocks of hours and months begin anew, so nothing fell
//! due; but what a season or a storm asks for is kept as well by who does it early: it falls due on its date all the same.
//! What was overdue at the end and not done is not kept either. In storage only what is owed in storage falls due.

use jiff::civil::Date;

use super::{Owner, deferral_of, done_of};
use crate::due::{Done, Due, Facts, State, Trigger, due};
use crate::facts::{InspectionKind, UnitFacts};
use crate::season::{Season, Winter, day_number};
use crate::sheet::Sheet;
use crate::timeline::day_in;
use crate::unit::Shared;
use crate::unit::clock::UnitClock;

/// How well a schedule was kept.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Kept {
    /// Tasks that fell due.
    pub fallen_due: u64,
    /// Those of them that were done inside their window.
    pub inside: u64,
}

/// How well the unit's schedule was kept in the winter of the second of these `seasons` up to a day. The first and third are
/// those before and after it.
pub fn kept(
    shared: &Shared<'_>,
    unit: &UnitFacts,
    clock: &UnitClock<'_>,
    sheet: &Sheet,
    seasons: [Season; 3],
    until: Date,
) -> Kept {
    let owner = Owner::of(shared, unit, clock);
    let first = Winter::of(seasons[1].starts).starts();
    let is_now = until >= shared.today;
    let hours_then = if is_now {
        owner.hours_now
    } else {
        let end = until.to_zoned(shared.facts.zone.clone());
        end.map_or(owner.hours_now, |end| {
            clock.hours_at(end.timestamp(), shared)
        })
    };
    let mut kept = Kept::default();
    for task in sheet.tasks.iter() {
        if !unit.rigging.concerned(task.only_for) {
            continue;
        }
        let done = done_of(shared, unit, clock, task);
        let owed = |at: Done, done: &[Done], stored, deferred_until| {
            let storms: Vec<_> = owner
                .storms
                .iter()
                .copied()
                .filter(|storm| storm.ended_on <= at.on)
                .collect();
            let facts = Facts {
                today: at.on,
                since: owner.since,
                done,
                hours_now: at.hours,
                seasons,
                storms: &storms,
                stored,
                deferred_until,
            };
            due(&task.terms(), &facts, &|_| [None; 3])
        };
        let in_time = done.partition_point(|done| done.on <= until);
        for (index, at) in done[..in_time].iter().enumerate() {
            if at.on < first {
                continue;
            }
            let stored = was_stored(shared, unit, clock, at.on);
            let before = owed(*at, &done[..index], stored, None);
            let early = before.state < State::Due && {
                let after = owed(*at, &done[..=index], stored, None);
                settled(&task.triggers, &before, &after, until)
            };
            kept.fallen_due += u64::from(before.state >= State::Due || early);
            kept.inside += u64::from(before.state == State::Due || early);
        }
        let put_off = deferral_of(shared, unit, task).map(|deferral| deferral.until);
        let end = Done {
            on: until,
            hours: hours_then,
        };
        let stored = was_stored(shared, unit, clock, until.tomorrow().unwrap_or(until));
        let left = owed(end, &done[..in_time], stored, put_off.filter(|_| is_now));
        kept.fallen_due += u64::from(left.state >= State::Overdue);
    }
    kept
}

/// Whether what a season or a storm asked for by a day up to `until` was owed before and is not after.
fn settled(triggers: &[Trigger], before: &Due, after: &Due, until: Date) -> bool {
    let of_an_event = |trigger: &Trigger| match trigger {
        Trigger::Hours { .. } | Trigger::Months { .. } | Trigger::Dates { .. } => false,
        Trigger::BeforeSeason { .. }
        | Trigger::MidSeason
        | Trigger::AfterSeason { .. }
        | Trigger::AfterStorm { .. } => true,
    };
    let on = |due: &Due, place: usize| due.triggers[place].as_ref().and_then(|owed| owed.on);
    (triggers.iter().enumerate())
        .filter(|(_, trigger)| of_an_event(trigger))
        .any(|(place, _)| {
            let by = on(before, place);
            by.is_some_and(|by| by <= until) && on(after, place) != by
        })
}

/// Whether the machine was in storage when a day began: what was done on that day may be what got it out.
fn was_stored(shared: &Shared<'_>, unit: &UnitFacts, clock: &UnitClock<'_>, day: Date) -> bool {
    let day = day_number(day);
    let newest = |storage: bool| {
        let inspections = unit.inspections.iter();
        let of_kind = inspections.filter(|one| (one.kind == InspectionKind::Storage) == storage);
        let at = of_kind.map(|one| one.at);
        at.filter(|at| day_in(*at, &shared.facts.zone) < day).max()
    };
    let starts = clock.starts.iter();
    let runs = starts.filter(|start| start.started && start.day < day);
    let out = newest(false).max(runs.map(|start| start.at).max());
    newest(true).is_some_and(|stored| out.is_none_or(|out| out <= stored))
}
