//! A job: what is to be done for a machine.

use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// What kind of job it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum JobKind {
    /// It puts right what was found.
    #[serde(rename = "repair")]
    Repair,
    /// The repair is done, and a check has still to show that it is good.
    #[serde(rename = "proof of a repair")]
    Proof,
    /// A hold tag that no open finding explains: see to it, and lift it.
    #[serde(rename = "hold tag")]
    Hold,
    /// A look at what nobody has looked at this season, or since a fault was reported.
    #[serde(rename = "inspection")]
    Inspection,
    /// A start.
    #[serde(rename = "proof start")]
    Start,
    /// A new part in place of one that may not last.
    #[serde(rename = "renewal")]
    Renewal,
    /// A task of the sheet that is due or overdue.
    #[serde(rename = "task")]
    Task,
    /// What an order has beside.
    #[serde(rename = "order line")]
    Line,
}

/// Where a job's minutes are from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema))]
pub enum MinutesFrom {
    /// A work order plans them.
    Order,
    /// The model's sheet has them.
    Sheet,
    /// Nobody has said: what such a job usually takes (common practice).
    Assumed,
}

/// What makes two things one job: done together, or the same.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Key {
    Part(String),
    Repair(String),
    Hold(Uuid),
    Inspection,
    Start,
    Task(String),
    Line(Uuid),
}

impl Key {
    /// As it ends a job's id.
    fn code(&self) -> String {
        match self {
            Key::Part(part) => format!("part/{part}"),
            Key::Repair(check) => format!("repair/{check}"),
            Key::Hold(id) => format!("hold/{id}"),
            Key::Inspection => "inspection".to_owned(),
            Key::Start => "start".to_owned(),
            Key::Task(task) => format!("task/{task}"),
            Key::Line(id) => format!("line/{id}"),
        }
    }

    /// The job's id. Codes have 60 characters at most, so it is short enough for the plan, which takes 200.
    pub(super) fn id(&self, unit: Uuid) -> String {
        format!("{unit}/{}", self.code())
    }
}

/// A job as it is gathered.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Draft {
    pub(super) key: Key,
    pub(super) kind: JobKind,
    pub(super) title: String,
    /// Whether it is there for safety.
    pub(super) safety: bool,
    pub(super) minutes: Option<f64>,
    pub(super) minutes_from: MinutesFrom,
    /// In the sheet's words.
    pub(super) takes: Vec<String>,
    /// Why, in the words of what asks for it.
    pub(super) why: Vec<String>,
    pub(super) findings: Vec<Uuid>,
    pub(super) orders: Vec<Uuid>,
    /// Parts of the list that these orders need, used ones too.
    pub(super) needed: Vec<Uuid>,
    /// What is found good when it is done.
    pub(super) checks: Vec<String>,
    /// Tags that hang no longer.
    pub(super) holds: Vec<Uuid>,
    /// The part that is new.
    pub(super) renews: Option<String>,
    /// Tasks of the sheet that it does.
    pub(super) tasks: Vec<String>,
    /// Whether the machine has run when it is done.
    pub(super) starts: bool,
    /// Whether it was inspected.
    pub(super) inspects: bool,
    /// Whether it may change the machine's chance.
    pub(super) touches: bool,
    /// Lines of orders that are this job: how many, and how many of them are done.
    pub(super) lines: (usize, usize),
}

impl Draft {
    pub(super) fn new(key: Key, kind: JobKind, title: impl Into<String>) -> Self {
        Draft {
            key,
            kind,
            title: title.into(),
            safety: false,
            minutes: None,
            minutes_from: MinutesFrom::Assumed,
            takes: Vec::new(),
            why: Vec::new(),
            findings: Vec::new(),
            orders: Vec::new(),
            needed: Vec::new(),
            checks: Vec::new(),
            holds: Vec::new(),
            renews: None,
            tasks: Vec::new(),
            starts: false,
            inspects: false,
            touches: false,
            lines: (0, 0),
        }
    }

    /// With what the sheet says of its labour and its parts.
    pub(super) fn on_sheet(mut self, minutes: f64, takes: &[String]) -> Self {
        self.minutes = Some(minutes);
        self.minutes_from = MinutesFrom::Sheet;
        self.takes = takes.to_vec();
        self
    }
}

/// A job, and what it does to its machine's chance.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Job {
    pub(super) id: String,
    pub(super) draft: Draft,
    /// Labour, minutes.
    pub(super) minutes: f64,
    /// The factor of the machine's chance until it is done, and once it is.
    pub(super) now: f64,
    pub(super) after: f64,
}
