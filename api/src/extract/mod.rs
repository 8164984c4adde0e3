//! How a request is read. Each extractor refuses what it cannot read with a [`Problem`](crate::problem::Problem) that
//! names the field, before a handler runs.
//!
//! The names `Json`, `Path` and `Query` are those that `utoipa::path` looks for, so that body and parameters document
//! themselves.

mod json;
mod path;
mod precondition;
mod query;
mod words;

pub use json::{BODY_LIMIT_BYTES, Json};
pub use path::Path;
pub use precondition::IfMatch;
pub use query::{Cursor, Limit, Query};
