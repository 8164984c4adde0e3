//! A task of a sheet: what is to be done again and again, what brings it due and what counts as doing it.

use serde::{Deserialize, Serialize};

use super::faults::Faults;
use super::{Figure, Sheet, Work};
use crate::due::{Terms, Trigger};

/// Tasks a sheet may have.
pub(super) const TASKS_MAX: usize = 100;
/// Triggers a task may have.
pub(crate) const TRIGGERS_MAX: usize = 8;
/// Window either side of the due date, as a share of the interval (Army maintenance practice, DA PAM 750-8: 10 %).
pub(crate) const TOLERANCE: f64 = 0.10;

/// A task of the sheet. When it is owed: [`crate::due`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
#[serde(deny_unknown_fields)]
pub struct TaskSpec {
    /// Short name used in records, unique on the sheet: `engine_oil`.
    pub task: String,
    /// What a technician calls it: "Change the engine oil".
    pub title: String,
    /// The one kind of work it is for, if it is about an attachment: it is not owed by a unit rigged for another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub only_for: Option<Work>,
    /// What brings it due, at least one; the earliest wins.
    pub triggers: Vec<Trigger>,
    /// The window either side of the due date, as a share of the interval, 0 to 0.5.
    #[serde(default = "tolerance")]
    pub tolerance: f64,
    /// Whether it is there for safety: while it is overdue the machine is unproven, and it may be deferred to the end of
    /// its window and no further.
    #[serde(default)]
    pub safety: bool,
    /// Whether it is owed in storage too. In storage nothing else is, but what prepares the next season.
    #[serde(default)]
    pub storage: bool,
    /// Labour, minutes, for an experienced technician at a bench.
    pub minutes: Figure,
    /// What it takes from the shelf.
    #[serde(default)]
    pub parts: Vec<String>,
    /// What can hurt while doing it.
    #[serde(default)]
    pub cautions: Vec<String>,
    /// Checks of the sheet: answering all of them in one inspection, none of them unserviceable, is doing the task.
    #[serde(default)]
    pub checks: Vec<String>,
    /// A part of the sheet: fitting a new one is doing the task.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub renews: Option<String>,
    /// Where the task and its intervals come from.
    pub source: String,
}

impl TaskSpec {
    /// When it is owed.
    pub fn terms(&self) -> Terms<'_> {
        Terms {
            triggers: &self.triggers,
            tolerance: self.tolerance,
            safety: self.safety,
            storage: self.storage,
        }
    }
}

fn tolerance() -> f64 {
    TOLERANCE
}

/// Every fault of the task at `field` of the sheet.
pub(super) fn faults(sheet: &Sheet, field: &str, task: &TaskSpec, faults: &mut Faults) {
    let at = |name: &str| format!("{field}.{name}");
    faults.code(&at("task"), &task.task);
    faults.text(&at("title"), &task.title);
    if !(0.0..=0.5).contains(&task.tolerance) {
        faults.say(at("tolerance"), "must be 0 to 0.5, a share of the interval");
    }
    faults.figure(&at("minutes"), &task.minutes, 0.0..=10_000.0);
    faults.text(&at("source"), &task.source);
    for (name, texts) in [("parts", &task.parts), ("cautions", &task.cautions)] {
        if texts.len() > TASKS_MAX {
            faults.say(at(name), format!("must be at most {TASKS_MAX}"));
        }
        for (index, text) in texts.iter().take(TASKS_MAX).enumerate() {
            faults.text(&at(&format!("{name}[{index}]")), text);
        }
    }
    for (index, check) in task.checks.iter().enumerate() {
        if sheet.check_spec(check).is_none() {
            faults.say(
                at(&format!("checks[{index}]")),
                format!("{check} is not a check of this sheet"),
            );
        }
    }
    if let Some(part) = task
        .renews
        .as_ref()
        .filter(|part| sheet.part(part).is_none())
    {
        faults.say(at("renews"), format!("{part} is not a part of this sheet"));
    }
    if task.triggers.is_empty() || task.triggers.len() > TRIGGERS_MAX {
        faults.say(
            at("triggers"),
            format!("must be 1 to {TRIGGERS_MAX}: without one the task is never due"),
        );
    }
    for (index, trigger) in task.triggers.iter().enumerate() {
        if let Some((name, problem)) = trigger.fault() {
            faults.say(at(&format!("triggers[{index}].{name}")), problem);
        }
    }
}
