//! The reconciler: takes depots that are marked and due, recomputes them, publishes what changed. It takes no input
//! but the marks; the happy case and the recovery after a crash are the same path. Any number of workers may run.
//!
//! A pass ([`pass()`]) claims a few due depots with a lease, loads their facts, has the rules compute, and publishes each
//! depot in a transaction that checks that it was not marked again meanwhile. Nothing is kept in memory between two
//! passes: a worker that dies holding a lease loses nothing, another takes over once the lease is over.

pub mod check;
mod due;
pub mod imports;
pub mod learn;
pub mod pass;
mod recompute;
mod run;
pub mod settings;

pub use pass::{Pass, drain, pass};
pub use recompute::recompute;
pub use run::{run, work};
pub use settings::Settings;
