//! What follows from inspections: findings opened and closed, hold tags hung. Nothing here reads or writes; the state
//! goes in and the changes come out.
//!
//! Of each check of a unit the newest reading counts. If it is unserviceable, there is one open finding; otherwise
//! there is none. A reading older than the newest known is history and changes nothing, however late it arrives. A
//! correction takes back what the corrected inspection did: findings it opened and closed, tags it hung.

use std::collections::{BTreeMap, BTreeSet};

use diesel::QueryableByName;
use diesel::sql_types::{Timestamptz, Uuid as SqlUuid};
use jiff::Timestamp;
use rimeyard_rules::sheet::Effect;
use uuid::Uuid;

use super::Inspection;
use crate::finding::Finding;
use crate::hold::{Hold, REASON_MAX};

/// Where an inspection stands among others: when it took effect, then its id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, QueryableByName)]
#[diesel(check_for_backend(diesel::pg::Pg))]
pub(super) struct Moment {
    #[diesel(sql_type = Timestamptz, deserialize_as = jiff_diesel::Timestamp)]
    pub(super) at: Timestamp,
    #[diesel(sql_type = SqlUuid)]
    pub(super) id: Uuid,
}

impl<R> From<&Inspection<R>> for Moment {
    fn from(inspection: &Inspection<R>) -> Self {
        Moment {
            at: inspection.took_effect_at(),
            id: inspection.id,
        }
    }
}

/// An inspection being recorded. Its id is its moment's.
pub(super) struct Event<'a> {
    pub(super) unit_id: Uuid,
    pub(super) depot_id: Uuid,
    pub(super) moment: Moment,
    pub(super) received_at: Timestamp,
    pub(super) by: Uuid,
    pub(super) outcomes: Vec<Outcome<'a>>,
    /// What it corrects.
    pub(super) corrects: Option<Corrected<'a>>,
}

/// A corrected inspection.
pub(super) struct Corrected<'a> {
    pub(super) id: Uuid,
    /// The checks that were read in it. Should an older reading of one count again and be unserviceable, this is what
    /// is said of it.
    pub(super) checks: Vec<Outcome<'a>>,
}

/// What one of its readings came to.
#[derive(Clone, Copy)]
pub(super) struct Outcome<'a> {
    pub(super) check: &'a str,
    pub(super) unserviceable: bool,
    pub(super) effect: Effect,
    pub(super) text: &'a str,
}

/// What is known before: of each check concerned the newest reading that counts, without what is being corrected.
pub(super) type Newest = BTreeMap<(Uuid, String), (Moment, bool)>;

/// An object, what became of it, and by which events.
#[derive(Debug, Clone)]
pub(super) struct Tracked<T> {
    pub(super) object: T,
    pub(super) change: Change,
    pub(super) by: BTreeSet<usize>,
}

/// What became of an object.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Change {
    Nothing,
    Changed,
    Created,
}

impl<T> Tracked<T> {
    fn known(object: T) -> Self {
        Tracked {
            object,
            change: Change::Nothing,
            by: BTreeSet::new(),
        }
    }

    fn created(object: T, event: usize) -> Self {
        Tracked {
            object,
            change: Change::Created,
            by: BTreeSet::from([event]),
        }
    }

    /// Notes a change: a new version of what was there before.
    fn touch(&mut self, event: usize)
    where
        T: Versioned,
    {
        self.by.insert(event);
        if self.change == Change::Nothing {
            self.change = Change::Changed;
            *self.object.rev() += 1;
        }
    }
}

/// What has versions.
trait Versioned {
    fn rev(&mut self) -> &mut i64;
}

impl Versioned for Finding {
    fn rev(&mut self) -> &mut i64 {
        &mut self.rev
    }
}

impl Versioned for Hold {
    fn rev(&mut self) -> &mut i64 {
        &mut self.rev
    }
}

/// What was known and what became of it.
pub(super) struct Consequences {
    pub(super) findings: Vec<Tracked<Finding>>,
    pub(super) holds: Vec<Tracked<Hold>>,
}

/// The state while events are applied to it.
struct Ledger<'a> {
    events: &'a [Event<'a>],
    newest: Newest,
    findings: Vec<Tracked<Finding>>,
    holds: Vec<Tracked<Hold>>,
}

/// Applies events to what is known: findings that are open or that a corrected inspection opened or closed, and the
/// tags that hang because of a finding.
pub(super) fn follow(
    events: &[Event<'_>],
    newest: Newest,
    findings: Vec<Finding>,
    holds: Vec<Hold>,
) -> Consequences {
    let mut ledger = Ledger {
        events,
        newest,
        findings: findings.into_iter().map(Tracked::known).collect(),
        holds: holds.into_iter().map(Tracked::known).collect(),
    };
    for event in 0..events.len() {
        ledger.stand_in(event);
    }
    let mut order: Vec<usize> = (0..events.len()).collect();
    order.sort_by_key(|&event| events[event].moment);
    for event in order {
        for outcome in &events[event].outcomes {
            let pair = (events[event].unit_id, outcome.check.to_owned());
            let moment = events[event].moment;
            if ledger
                .newest
                .get(&pair)
                .is_some_and(|(newest, _)| *newest > moment)
            {
                continue;
            }
            ledger.newest.insert(pair, (moment, outcome.unserviceable));
            ledger.settle(event, *outcome, true);
        }
    }
    for event in 0..events.len() {
        ledger.take_back(event);
    }
    Consequences {
        findings: ledger.findings,
        holds: ledger.holds,
    }
}

impl Ledger<'_> {
    /// Where a correction says the same of a check as the corrected inspection, it stands in its place.
    fn stand_in(&mut self, event: usize) {
        let correction = &self.events[event];
        let Some(corrected) = &correction.corrects else {
            return;
        };
        for finding in &mut self.findings {
            let said = correction
                .outcomes
                .iter()
                .find(|outcome| outcome.check == finding.object.check);
            match said {
                Some(said)
                    if said.unserviceable && finding.object.inspection_id == corrected.id =>
                {
                    finding.touch(event);
                    finding.object.inspection_id = correction.moment.id;
                    finding.object.effect = said.effect;
                    said.text.clone_into(&mut finding.object.text);
                }
                Some(said)
                    if !said.unserviceable && finding.object.closed_by == Some(corrected.id) =>
                {
                    finding.touch(event);
                    finding.object.close(correction.moment);
                }
                _ => {}
            }
        }
    }

    /// Brings a check's finding in line with its newest reading. `said` is that reading where it is `fresh`, one of
    /// this event.
    fn settle(&mut self, event: usize, said: Outcome<'_>, fresh: bool) {
        let Event {
            unit_id,
            depot_id,
            moment,
            ..
        } = self.events[event];
        let newest = self
            .newest
            .get(&(unit_id, said.check.to_owned()))
            .filter(|(_, unserviceable)| *unserviceable);
        let unserviceable = newest.map(|(moment, _)| *moment);
        let of_check = |finding: &Tracked<Finding>| {
            finding.object.unit_id == unit_id && finding.object.check == said.check
        };
        let open = self
            .findings
            .iter()
            .position(|finding| of_check(finding) && finding.object.closed_at.is_none());
        let finding = match (unserviceable, open) {
            (None, None) => return,
            (None, Some(open)) => {
                self.findings[open].touch(event);
                self.findings[open].object.close(moment);
                return;
            }
            (Some(_), Some(open)) => {
                let finding = &mut self.findings[open];
                if fresh && finding.object.effect != said.effect {
                    finding.touch(event);
                    finding.object.effect = said.effect;
                }
                open
            }
            (Some(since), None) => match self
                .findings
                .iter()
                .rposition(|finding| of_check(finding) && self.is_void(finding))
            {
                Some(closed) => {
                    let finding = &mut self.findings[closed];
                    finding.touch(event);
                    finding.object.closed_at = None;
                    finding.object.closed_by = None;
                    // Closed, it stayed where it was when the unit moved on.
                    finding.object.depot_id = depot_id;
                    closed
                }
                None => {
                    let finding = Finding {
                        id: Uuid::now_v7(),
                        unit_id,
                        depot_id,
                        inspection_id: since.id,
                        check: said.check.to_owned(),
                        effect: said.effect,
                        text: said.text.to_owned(),
                        opened_at: since.at,
                        closed_at: None,
                        closed_by: None,
                        rev: 1,
                    };
                    self.findings.push(Tracked::created(finding, event));
                    self.findings.len() - 1
                }
            },
        };
        self.hang(event, finding);
    }

    /// Whether what closed it has been taken back.
    fn is_void(&self, finding: &Tracked<Finding>) -> bool {
        let corrected = |id: Uuid| {
            self.events
                .iter()
                .filter_map(|event| event.corrects.as_ref())
                .any(|old| old.id == id)
        };
        finding.object.closed_by.is_some_and(corrected)
    }

    /// Hangs a tag for an open safety finding that has none.
    fn hang(&mut self, event: usize, finding: usize) {
        let finding = &self.findings[finding].object;
        let hangs = |hold: &Tracked<Hold>| {
            hold.object.finding_id == Some(finding.id) && hold.object.lifted_at.is_none()
        };
        if finding.effect != Effect::Hold || self.holds.iter().any(hangs) {
            return;
        }
        let Event {
            moment,
            by,
            depot_id,
            ..
        } = self.events[event];
        let hold = Hold {
            id: Uuid::now_v7(),
            unit_id: finding.unit_id,
            depot_id,
            reason: finding.text.chars().take(REASON_MAX).collect(),
            finding_id: Some(finding.id),
            placed_at: moment.at,
            placed_by: by,
            lifted_at: None,
            lifted_by: None,
            lifted_inspection: None,
            rev: 1,
            to_be_lifted_by: None,
        };
        self.holds.push(Tracked::created(hold, event));
    }

    /// Settles what a corrected inspection had read and its correction has not, and lifts the tags of findings that
    /// should never have been; not one that names somebody else.
    fn take_back(&mut self, event: usize) {
        let events = self.events;
        let correction = &events[event];
        let Some(corrected) = &correction.corrects else {
            return;
        };
        for said in &corrected.checks {
            self.settle(event, *said, false);
        }
        let never_was: Vec<Uuid> = self
            .findings
            .iter()
            .filter(|finding| {
                finding.object.inspection_id == corrected.id && finding.object.closed_at.is_some()
            })
            .map(|finding| finding.object.id)
            .collect();
        for hold in &mut self.holds {
            let hangs_for_nothing = hold
                .object
                .finding_id
                .is_some_and(|id| never_was.contains(&id));
            if hangs_for_nothing
                && hold.object.lifted_at.is_none()
                && hold.object.names(correction.by)
            {
                hold.touch(event);
                hold.object.lifted_at = Some(correction.received_at);
                hold.object.lifted_by = Some(correction.by);
                hold.object.lifted_inspection = Some(correction.moment.id);
            }
        }
    }
}

impl Finding {
    fn close(&mut self, by: Moment) {
        self.closed_at = Some(by.at.max(self.opened_at));
        self.closed_by = Some(by.id);
    }
}

#[cfg(test)]
mod tests;
