//! The API over real HTTP. Modules mirror the URLs; `walk` goes over every operation of the document.

mod calculations;
mod checklists;
mod compression;
mod depots;
mod document;
mod examples;
mod fleet;
mod guessing;
mod health;
mod holds;
mod inspections;
mod limited_use;
mod meter_readings;
mod models;
mod parts;
mod people;
mod problems;
mod readiness;
mod refusals;
mod session;
mod storms;
mod sync_pull;
mod unit_checklist;
mod unit_moves;
mod units;
mod walk;
