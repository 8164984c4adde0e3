//! The kinds of object that the feed carries. In a depot's scope unless said otherwise.

/// A depot.
pub const DEPOT: &str = "depot";
/// A unit: one machine.
pub const UNIT: &str = "unit";
/// An inspection with its readings.
pub const INSPECTION: &str = "inspection";
/// A reading of the hour meter, or word of a start.
pub const METER_READING: &str = "meter-reading";
/// A part as fitted, from one fitting to the next.
pub const FITTED_PART: &str = "fitted-part";
/// A finding.
pub const FINDING: &str = "finding";
/// A hold tag.
pub const HOLD: &str = "hold";
/// Use under stated limits.
pub const LIMITED_USE: &str = "limited-use";
/// What is computed of a unit.
pub const UNIT_STATE: &str = "unit-state";
/// What is computed of a depot.
pub const DEPOT_STATE: &str = "depot-state";
/// A model. In the organisation's scope.
pub const MODEL: &str = "model";
/// The present sheet of a model, under the model's id. In the organisation's scope.
pub const SHEET: &str = "sheet";
/// What was learned of a model, under the model's id. In the organisation's scope.
pub const LEARNED: &str = "learned";
/// A checklist with what its version in use says. In the organisation's scope.
pub const CHECKLIST: &str = "checklist";
/// A storm. In the scope of each depot it names.
pub const STORM: &str = "storm";
/// A person. In the organisation's scope.
pub const PERSON: &str = "person";
/// A part of the organisation's list. In the organisation's scope.
pub const PART: &str = "part";
/// How many of a part, or of one lot of it, are on a depot's shelf.
pub const STOCK_LEVEL: &str = "stock-level";
/// A work order.
pub const WORK_ORDER: &str = "work-order";
/// Whose hours a depot has, under the depot's id.
pub const LABOUR: &str = "labour";
/// A task, done.
pub const TASK_DONE: &str = "task-done";
/// A task put off.
pub const DEFERRAL: &str = "deferral";
/// An alert that is open.
pub const ALERT: &str = "alert";
