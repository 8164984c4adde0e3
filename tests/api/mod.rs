//! The API over real HTTP. Modules mirror the URLs; `walk` goes over every operation of the document.

mod calculations;
mod depots;
mod document;
mod examples;
mod fleet;
mod health;
mod holds;
mod inspections;
mod limited_use;
mod meter_readings;
mod problems;
mod readiness;
mod session;
mod storms;
mod sync_pull;
mod walk;
