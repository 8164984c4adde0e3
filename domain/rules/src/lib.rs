//! The trade, pure: from readings to the storm-readiness of a depot.
//!
//! Nothing here reads a clock, a file, a network or a random number: instants, zones, seasons and storms are
//! arguments, so the same facts give the same answer on every machine and on every day.

pub mod checklist;
pub mod facts;
pub mod invalid;
pub mod measure;
pub mod sheet;
pub mod verdict;

pub use invalid::Invalid;
