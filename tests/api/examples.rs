//! An object for every path parameter, and a body for every operation that needs one: what the walk over the document
//! is fed with. A noun that is added adds its parameter here; the walk fails until it does.

use rimeyard_harness::{Actor, Depot};
use serde_json::{Value, json};

/// An object to put in a path.
pub struct Example {
    /// What stands in the path.
    pub value: String,
    /// Whether it belongs to a depot, so that who is not granted that depot must not see it.
    pub of_a_depot: bool,
}

/// An object for this path parameter, at this depot, made by this administrator.
pub async fn example(name: &str, _administrator: &Actor, depot: &Depot) -> Example {
    match name {
        "depot_id" => Example {
            value: depot.id.to_string(),
            of_a_depot: true,
        },
        _ => panic!(
            "the walk has no object for the path parameter {{{name}}}: add one to tests/api/examples.rs, so that the \
             operations with it are covered"
        ),
    }
}

/// What never exists at this path parameter.
pub fn absent(_name: &str) -> &'static str {
    "0198c0de-0000-7000-8000-000000000000"
}

/// A body that this operation takes, where `{}` is none.
pub fn body(_operation: &str) -> Value {
    json!({})
}
