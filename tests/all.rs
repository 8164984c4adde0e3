//! The whole house under test. One binary, so that it links once; modules mirror what they test.

mod api;
#[cfg(feature = "browser")]
mod browser;
mod demo;
mod house;
mod local;
mod reference;
mod store;
mod worker;
