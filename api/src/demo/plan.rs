//! What the generator hands to the loader: facts only, as people would have entered them. The hidden truth stands
//! beside them and is never loaded.

use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::checklist::Checklist;
use rimeyard_rules::facts::{Fitting, InspectionKind};
use rimeyard_rules::sheet::{Sheet, Work};
use rimeyard_rules::verdict::ReadingInput;
use rimeyard_store::Role;
use rimeyard_store::depot::NewDepot;
use rimeyard_store::part::NewPart;
use rimeyard_store::snowfall::SnowDay;
use rimeyard_store::stock::NewStockMove;
use uuid::Uuid;

/// The whole invented agency.
#[derive(Debug, Clone)]
pub struct Agency {
    /// Its name.
    pub name: &'static str,
    /// The instant that it stands at.
    pub now: Timestamp,
    /// The seed it was drawn from.
    pub seed: u64,
    /// Its checklists, one for each kind of machine.
    pub checklists: Vec<(Uuid, Checklist)>,
    /// Its models with their sheets.
    pub models: Vec<Model>,
    /// Its list of parts, kits last.
    pub parts: Vec<NewPart>,
    /// Who works there.
    pub people: Vec<Person>,
    /// Its depots, each with its machines.
    pub depots: Vec<Depot>,
    /// The storm that is coming, to every depot.
    pub storm: Storm,
}

/// A model.
#[derive(Debug, Clone)]
pub struct Model {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: &'static str,
    /// Its checklist: that of its kind.
    pub checklist: Uuid,
    /// Its sheet.
    pub sheet: Sheet,
    /// What a new one costs, US cents.
    pub price_minor: i64,
}

/// A person.
#[derive(Debug, Clone)]
pub struct Person {
    /// Their id.
    pub id: Uuid,
    /// Their name.
    pub name: &'static str,
    /// Their role.
    pub role: Role,
    /// Which of [`Agency::depots`] they are granted; `None` for all.
    pub depots: Option<Vec<usize>>,
}

/// A depot and its machines.
#[derive(Debug, Clone)]
pub struct Depot {
    /// The depot itself.
    pub depot: NewDepot,
    /// Its machines.
    pub machines: Vec<Machine>,
    /// New snow of each day on record, oldest first.
    pub snowfall: Vec<SnowDay>,
    /// What was booked of its shelf beside what work used, oldest first.
    pub stock: Vec<NewStockMove>,
    /// Minutes there and back.
    pub travel_minutes: i32,
    /// Whose hours it has: one of [`Agency::people`], from when, and minutes a week.
    pub labour: Vec<(usize, Date, i32)>,
}

/// A machine and its history.
#[derive(Debug, Clone)]
pub struct Machine {
    /// Its id.
    pub id: Uuid,
    /// The number on its tag.
    pub tag: String,
    /// Its model.
    pub model: Uuid,
    /// What it is rigged for, where it can do more than one kind of work.
    pub rigging: Option<Work>,
    /// Where it is, if not at its depot.
    pub away: Option<&'static str>,
    /// When the agency got it, where its papers were kept.
    pub acquired_on: Option<Date>,
    /// The technician who sees to it: one of [`Agency::people`].
    pub technician: usize,
    /// The operator of its depot: one of [`Agency::people`].
    pub operator: usize,
    /// Parts fitted since it came, oldest first.
    pub fittings: Vec<PartFitted>,
    /// Inspections, oldest first.
    pub inspections: Vec<Inspection>,
    /// Readings of its hour meter and words of starts, oldest first.
    pub meter: Vec<MeterReading>,
    /// Tasks of its sheet that were done, oldest first, beside those that an inspection answers.
    pub tasks: Vec<TaskDone>,
    /// Use under stated limits.
    pub limited_use: Option<LimitedUse>,
}

/// A part fitted in the place of another.
#[derive(Debug, Clone)]
pub struct PartFitted {
    /// Its id.
    pub id: Uuid,
    /// The part on the sheet.
    pub part: &'static str,
    /// How it came to be fitted.
    pub how: Fitting,
    /// When.
    pub at: Timestamp,
    /// At how many hours on the meter.
    pub hours: f64,
    /// Whether the one before had failed, of a renewal.
    pub failed: Option<bool>,
}

/// An inspection.
#[derive(Debug, Clone)]
pub struct Inspection {
    /// Its id.
    pub id: Uuid,
    /// Why it was made.
    pub kind: InspectionKind,
    /// When.
    pub at: Timestamp,
    /// Hours on the meter, where they were noted.
    pub run_hours: Option<f64>,
    /// Its readings.
    pub readings: Vec<ReadingInput>,
}

/// A reading of the hour meter, or word of a start.
#[derive(Debug, Clone)]
pub struct MeterReading {
    /// Its id.
    pub id: Uuid,
    /// When.
    pub at: Timestamp,
    /// What the meter said.
    pub run_hours: Option<f64>,
    /// Whether that is an estimate.
    pub estimated: bool,
    /// Whether the machine started.
    pub started: Option<bool>,
}

/// A task of the sheet, done.
#[derive(Debug, Clone)]
pub struct TaskDone {
    /// Its id.
    pub id: Uuid,
    /// Which.
    pub task: String,
    /// When.
    pub at: Timestamp,
    /// Hours on the meter.
    pub run_hours: Option<f64>,
}

/// Use under stated limits.
#[derive(Debug, Clone)]
pub struct LimitedUse {
    /// Its id.
    pub id: Uuid,
    /// The limit and why.
    pub reason: &'static str,
    /// From when.
    pub starts_at: Timestamp,
    /// Until when.
    pub ends_at: Timestamp,
}

/// The coming storm.
#[derive(Debug, Clone)]
pub struct Storm {
    /// Its id.
    pub id: Uuid,
    /// Its name.
    pub name: &'static str,
    /// When snow begins.
    pub starts_at: Timestamp,
    /// When it ends.
    pub ends_at: Timestamp,
    /// How much falls, mm.
    pub depth_mm: f64,
    /// At how much lying snow ground is cleared again, mm.
    pub reclear_mm: f64,
    /// Air temperature, degC.
    pub temperature_c: f64,
    /// Lowest temperature, degC.
    pub low_c: f64,
}

/// What is true of one machine and is not stored: for tests and simulations.
#[derive(Debug, Clone)]
pub struct Truth {
    /// The machine's tag.
    pub tag: String,
    /// Running hours of each day it ran.
    pub hours: Vec<(Date, f64)>,
    /// Share of such machines that go dead a day.
    pub goes_dead_a_day: f64,
    /// Every path of wear: check, when it began, true value as new, true change an hour.
    pub wear: Vec<TruePath>,
}

/// The truth behind one path of wear.
#[derive(Debug, Clone, Copy)]
pub struct TruePath {
    /// The check that measures it.
    pub check: &'static str,
    /// True value at `fitted_hours`.
    pub as_new: f64,
    /// True change a running hour.
    pub rate: f64,
    /// True running hours when it was fitted.
    pub fitted_hours: f64,
}
