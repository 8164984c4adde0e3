//! `unit`: where a unit stands, from its factors; the input is what its readiness shows under `inputs`.

pub use crate::unit::standing::{Input, Output, calculate};
