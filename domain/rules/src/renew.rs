//! Repair or renew: what a machine costs a year if it is kept, against what a new one costs over its best life.
//!
//! Equivalent annual cost, as engineering economy has it: money spent and got back at different times, made into one equal
//! sum at each year's end by the capital recovery factor ([`annual`]). The machine that is there (the defender) costs what it
//! would fetch today, the repair it waits for, and its winters to come; a new one (the challenger) its price and its
//! winters, less what it will fetch. What was once paid for the machine is spent either way and counts for nothing.
//!
//! What a winter costs rises with age along a line, fitted to what winters did cost, with the doubt that few winters leave
//! ([`trend`]).

pub mod annual;
pub mod currency;
pub mod trend;
pub(crate) mod words;

pub use words::Assumption;

#[cfg(test)]
mod tests;
