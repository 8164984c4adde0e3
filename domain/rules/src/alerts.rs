//! Whom to tell (section 10): one open alert for each kind and subject, raised when it gets worse, acknowledged by a
//! person, cleared by the facts and with hysteresis, told to the district when nobody took it up in its time.
//!
//! What is wrong now is said by [`Signal`]s, which an evaluation brings. What becomes of the alerts that are open is
//! [`next`]: a function of those and of the signals, so that a history of signals replayed gives the same alerts.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

mod signals;
#[cfg(test)]
mod tests;

pub(crate) use signals::signals;

/// What an alert is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum AlertKind {
    /// Tasks of a unit that are there for safety are overdue.
    #[serde(rename = "safety task overdue")]
    SafetyTaskOverdue,
    /// Other tasks of a unit are overdue.
    #[serde(rename = "task overdue")]
    TaskOverdue,
    /// A unit is held: a hold tag or an open safety finding.
    #[serde(rename = "unit held")]
    UnitHeld,
    /// A part of a unit will not see this season out.
    #[serde(rename = "part will not last the season")]
    PartWillNotLast,
    /// A depot's score is under its floor for a storm that is coming.
    #[serde(rename = "depot short for a storm")]
    DepotShort,
    /// A unit's battery will freeze at the forecast low.
    #[serde(rename = "battery will freeze")]
    BatteryWillFreeze,
    /// Nothing was heard of a unit for long, in season.
    #[serde(rename = "unit not heard of")]
    UnitNotHeardOf,
    /// A work order stands still.
    #[serde(rename = "work order stuck")]
    OrderStuck,
    /// Less of a part is on hand than open work takes.
    #[serde(rename = "spares short")]
    SparesShort,
    /// A depot could not be recomputed so often that it is parked.
    #[serde(rename = "recomputation parked")]
    Parked,
}

/// That a depot's recomputation is parked: said by the worker that could not bring any other signal.
pub fn parked(depot_id: Uuid) -> Signal {
    Signal {
        kind: AlertKind::Parked,
        subject_id: depot_id,
        unit_id: None,
        raised: Some((
            Severity::Urgent,
            "Readiness here is out of date: it could not be computed. Whoever runs the installation finds the cause with \
             `rimeyard-worker marks`"
                .to_owned(),
        )),
    }
}

/// How bad it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum Severity {
    /// To be planned for.
    Notice,
    /// To be seen to this week.
    Warning,
    /// To be seen to today.
    Urgent,
}

impl Severity {
    /// As it is said and stored.
    pub fn as_str(self) -> &'static str {
        match self {
            Severity::Notice => "notice",
            Severity::Warning => "warning",
            Severity::Urgent => "urgent",
        }
    }

    /// How long an alert may stand unacknowledged before the district is told (district default).
    fn patience(self) -> SignedDuration {
        SignedDuration::from_hours(match self {
            Severity::Notice => 14 * 24,
            Severity::Warning => 3 * 24,
            Severity::Urgent => 24,
        })
    }
}

/// What is wrong now, or not yet well again.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// Of what kind.
    pub kind: AlertKind,
    /// What it is about: a unit, a depot, a work order or a part of the list.
    pub subject_id: Uuid,
    /// The unit, if it is about one.
    pub unit_id: Option<Uuid>,
    /// How bad it is, and said for people; `None` between the floor and the floor with hysteresis: that opens no alert and
    /// keeps an open one.
    pub raised: Option<(Severity, String)>,
}

/// Characters that an alert says at most.
const TEXT_MAX: usize = 600;

impl Signal {
    /// The same, of a text that is too long no more than its beginning.
    #[must_use]
    pub fn shortened(mut self) -> Self {
        if let Some((_, text)) = &mut self.raised
            && let Some((end, _)) = text.char_indices().nth(TEXT_MAX)
        {
            text.truncate(end);
            text.push_str(" ..");
        }
        self
    }
}

/// An alert that is open.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenAlert {
    /// It.
    pub id: Uuid,
    /// Of what kind.
    pub kind: AlertKind,
    /// What it is about.
    pub subject_id: Uuid,
    /// How bad it is.
    pub severity: Severity,
    /// Said for people.
    pub text: String,
    /// When it was opened, or last raised in severity.
    pub raised_at: Timestamp,
    /// Whether a person has taken it up since.
    pub acknowledged: bool,
    /// When the district was told.
    pub escalated_at: Option<Timestamp>,
}

impl OpenAlert {
    /// When the district is to be told, if nobody takes it up before; `None` where it was, or somebody has.
    pub fn escalates_at(&self) -> Option<Timestamp> {
        if self.acknowledged || self.escalated_at.is_some() {
            return None;
        }
        Some(self.raised_at + self.severity.patience())
    }
}

/// What becomes of a depot's alerts.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Next {
    /// To be opened.
    pub opened: Vec<Signal>,
    /// Open ones that are other than they were, as they are now.
    pub changed: Vec<OpenAlert>,
    /// To be cleared.
    pub cleared: Vec<Uuid>,
}

impl Next {
    /// Of how many alerts something becomes.
    pub fn len(&self) -> usize {
        self.opened.len() + self.changed.len() + self.cleared.len()
    }

    /// Whether nothing becomes of them.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// When, after this, the first of a depot's alerts is to be told to the district, if nobody takes it up before.
    pub fn escalates_at(&self, open: &[OpenAlert], as_of: Timestamp) -> Option<Timestamp> {
        let same = open.iter().filter(|alert| {
            !self.cleared.contains(&alert.id)
                && !self.changed.iter().any(|changed| changed.id == alert.id)
        });
        let old = same
            .chain(&self.changed)
            .filter_map(OpenAlert::escalates_at);
        let opened = self
            .opened
            .iter()
            .filter_map(|signal| signal.raised.as_ref());
        old.chain(opened.map(|(severity, _)| as_of + severity.patience()))
            .min()
    }
}

/// What becomes of the open alerts at `as_of`, by the signals there are. Of several signals of one kind and subject the
/// worst counts.
pub fn next(open: &[OpenAlert], signals: &[Signal], as_of: Timestamp) -> Next {
    let mut worst = BTreeMap::<(AlertKind, Uuid), &Signal>::new();
    for signal in signals {
        let of_it = worst
            .entry((signal.kind, signal.subject_id))
            .or_insert(signal);
        let severity = |one: &Signal| one.raised.as_ref().map(|raised| raised.0);
        if severity(signal) > severity(of_it) {
            *of_it = signal;
        }
    }
    let mut next = Next::default();
    for alert in open {
        match worst.remove(&(alert.kind, alert.subject_id)) {
            None => next.cleared.push(alert.id),
            Some(signal) => {
                let now = kept(alert, signal, as_of);
                if now != *alert {
                    next.changed.push(now);
                }
            }
        }
    }
    let raised = worst.into_values().filter(|signal| signal.raised.is_some());
    next.opened = raised.cloned().collect();
    next
}

/// An open alert whose cause still stands: as bad as its cause is now; where that is worse than before, nobody has taken it
/// up yet and the district has not been told. It is told when the alert's time is over.
fn kept(alert: &OpenAlert, signal: &Signal, as_of: Timestamp) -> OpenAlert {
    let mut now = alert.clone();
    if let Some((severity, text)) = &signal.raised {
        if *severity > now.severity {
            now.raised_at = as_of;
            now.acknowledged = false;
            now.escalated_at = None;
        }
        now.severity = *severity;
        now.text.clone_from(text);
    }
    if now.escalates_at().is_some_and(|at| at <= as_of) {
        now.escalated_at = Some(as_of);
    }
    now
}
