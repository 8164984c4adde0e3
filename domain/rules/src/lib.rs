//! The trade, pure: from readings to the storm-readiness of a depot.
//!
//! Nothing here reads a clock, a file, a network or a random number: instants, zones, seasons and storms are
//! arguments, so the same facts give the same answer on every machine and on every day.

pub mod alerts;
pub mod availability;
pub mod battery;
pub mod because;
pub mod buy;
pub mod calculations;
pub mod checklist;
pub mod crew;
pub mod demand;
pub mod depot;
pub mod due;
pub mod facts;
pub mod fix_first;
pub mod hours;
pub mod invalid;
pub mod learn;
pub mod life;
pub mod measure;
pub mod order;
pub mod plan;
mod rate;
pub mod renew;
pub mod score;
pub mod season;
pub mod sheet;
pub mod snow_days;
pub mod snowfall;
pub mod spares;
pub mod special;
pub mod start;
pub mod stock;
pub mod storm;
pub mod table;
pub mod timeline;
pub mod tyre;
pub mod unit;
pub mod verdict;
pub mod wear;
pub mod what_if;

pub use invalid::Invalid;
