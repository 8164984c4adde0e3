//! The whole house under test. One binary, so that it links once; modules mirror what they test.

mod api;
#[cfg(feature = "browser")]
mod browser;
mod demo;
mod fuzz;
#[cfg(feature = "generated")]
mod generated;
mod house;
mod local;
mod ops;
mod reference;
mod store;
mod worker;
