//! The REST API, its document, the pages and the command line.
//!
//! A request passes [`edge`] (an id, the log, headers), then [`guard`] (is there such an operation, who asks, may
//! they), then its handler under [`routes`]. What goes wrong anywhere becomes a [`problem`].

pub mod answer;
pub mod app;
pub mod attempts;
pub mod called;
pub mod cli;
pub mod csv;
pub mod demo;
pub mod document;
pub mod edge;
pub mod extract;
pub mod guard;
pub mod metrics;
pub mod operations;
pub mod page;
pub mod people;
pub mod problem;
pub mod roles;
pub mod routes;
pub mod server;
pub mod settings;
pub mod signed;
pub mod state;
pub mod token;
pub mod units;

pub use app::{app, document};
pub use state::State;
