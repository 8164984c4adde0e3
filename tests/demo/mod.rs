//! The demo: what it promises its readers, at any time of the year.

mod generator;
mod seasons;
mod shown;
