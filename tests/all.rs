//! The whole house under test. One binary, so that it links once; modules mirror what they test.

mod api;
mod house;
mod reference;
mod store;
mod worker;
